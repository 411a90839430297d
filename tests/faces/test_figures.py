"""Every figure is a valid Vega-Lite spec that renders, in both themes, on a phone and on a desktop."""

from __future__ import annotations

import struct
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from judgement_by_hand import CANNOT_SAY, HEALTHY, PERFORMS, SHEET, SHORT

from loopwright.diagnosis.judgement import PlanePoint
from loopwright.figures import DESKTOP, PHONE, Terms, picture, plane_figure, png, save, strips_figure, svg
from loopwright.figures.dome import dome
from loopwright.readings import read

TERMS = Terms.of(read(SHEET))
FIGURES = (plane_figure, strips_figure, picture)


def walk(spec: Any) -> list[Any]:
    """Every value inside a spec."""
    inner = spec.values() if isinstance(spec, dict) else spec if isinstance(spec, list) else ()
    return [spec, *(found for part in inner for found in walk(part))]


def said(spec: dict[str, Any]) -> list[str]:
    return [datum["says"] for datum in walk(spec) if isinstance(datum, dict) and "says" in datum]


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", [PHONE, DESKTOP])
@pytest.mark.parametrize("figure", FIGURES)
def test_renders_at_its_width_in_both_themes(figure: Any, theme: Any, width: int) -> None:
    drawn = svg(figure(SHORT, TERMS, theme, width))
    assert drawn.startswith("<svg")
    assert "NaN" not in drawn
    head = drawn[: drawn.index(">")]
    shown = float(head.split('width="')[1].split('"')[0])
    assert abs(shown - width) <= 12  # px; marks and words may stand out from the plot by half their size
    assert len(drawn) > 5000


@pytest.mark.parametrize("judgement", [PERFORMS, CANNOT_SAY, replace(CANNOT_SAY, healthy_cycle=(), healthy_cycles=())])
def test_renders_whatever_the_judgement_could_not_say(judgement: Any) -> None:
    assert svg(picture(judgement)).startswith("<svg")


def test_a_refrigerant_without_tables_is_drawn_without_its_dome() -> None:
    bare, whole = plane_figure(replace(SHORT, refrigerant="R407C")), plane_figure(SHORT)
    assert len(bare["layer"]) < len(whole["layer"])
    assert svg(bare).startswith("<svg")


def test_png_has_the_size_that_was_asked_for(tmp_path: Path) -> None:
    spec = plane_figure(SHORT, TERMS, "light", PHONE)
    width, height = struct.unpack(">II", png(spec)[16:24])
    assert abs(width / 2 - PHONE) <= 12  # twice as many pixels as the figure has; as above
    assert height > width / 2
    for name in ("a.png", "a.svg"):
        save(spec, tmp_path / name)
        assert (tmp_path / name).stat().st_size > 5000
    with pytest.raises(ValueError, match=r"\.svg or \.png"):
        save(spec, tmp_path / "a.gif")


def test_a_spec_is_plain_data_that_asks_for_nothing_outside() -> None:
    for figure in FIGURES:
        spec = figure(SHORT, TERMS)
        assert all(isinstance(part, dict | list | str | int | float | bool | None) for part in walk(spec))
        assert not any(isinstance(part, dict) and "url" in part for part in walk(spec))


def test_labels_are_in_the_units_of_the_sheet() -> None:
    words = said(plane_figure(SHORT, TERMS))
    assert {"High side 142 psi", "expected 164–226 psi", "Low side 17 psi", "expected 24–35 psi"} <= set(words)


def test_every_corner_of_both_cycles_is_inside_the_view() -> None:
    spec = plane_figure(SHORT, TERMS)
    h, p = (spec["encoding"][axis]["scale"]["domain"] for axis in "xy")
    for corner in (*SHORT.cycle, *HEALTHY):
        assert h[0] < corner.enthalpy / 1e3 < h[1]
        assert p[0] < corner.pressure / 1e3 < p[1]


def test_words_stand_beyond_the_whole_of_an_edge_that_slopes() -> None:
    low, high = 200e3, 1500e3
    cycle = tuple(
        PlanePoint(name, p, h)
        for name, p, h in (("1", low, 400e3), ("2", high, 440e3), ("3", 0.97 * high, 260e3), ("4", 1.15 * low, 260e3))
    )
    for factor, above in ((0.8, True), (1.3, False)):  # the healthy cycle below the measured one, and above it
        healthy = tuple(PlanePoint(c.name, factor * c.pressure, c.enthalpy) for c in cycle)
        spec = plane_figure(replace(SHORT, cycle=cycle, healthy_cycle=healthy, healthy_cycles=()))
        labels = {
            v["says"].partition(" side")[0]: v for v in spec["layer"][-1]["data"]["values"] if " side" in v["says"]
        }
        edges = {"Low": (low, 1.15 * low), "High": (0.97 * high, high)}
        for side, (bottom, top) in edges.items():
            assert labels[side]["baseline"] == ("bottom" if above else "top")
            assert labels[side]["p"] == pytest.approx((top if above else bottom) / 1e3)


def test_strips_hold_one_row_a_reading_and_a_mark_only_where_one_was_read() -> None:
    spec = strips_figure(SHORT, TERMS)
    shapes = [d["shape"] for d in walk(spec) if isinstance(d, dict) and isinstance(d.get("shape"), str)]
    assert sorted(set(shapes)) == ["circle", "triangle-left", "triangle-right"]
    assert said(spec).count("not read") == sum(e.measured is None for e in SHORT.expected)


@pytest.mark.parametrize("refrigerant", ["R134a", "R1234yf", "R12", "R152a"])
def test_the_dome_is_one_rounded_outline(refrigerant: str) -> None:
    outline = dome(refrigerant)
    pressures = [p for _, p in outline]
    top = pressures.index(max(pressures))
    assert pressures[:top] == sorted(pressures[:top])
    assert pressures[top:] == sorted(pressures[top:], reverse=True)
    liquid, vapour = outline[:top], outline[:top:-1]
    enthalpies = [h for h, _ in (*liquid, outline[top])]
    assert enthalpies == sorted(enthalpies)  # enthalpy of the liquid only rises towards the critical point
    assert all(h_v > h_l and p == q for (h_l, p), (h_v, q) in zip(liquid, vapour, strict=True))
