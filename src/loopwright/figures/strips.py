"""The strips: every reading as a mark on the band where it belongs, and the band alone where nothing was read yet."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from loopwright.diagnosis.judgement import Expected, Judgement
from loopwright.figures.plane import DESKTOP
from loopwright.figures.render import SCHEMA
from loopwright.figures.strip import REACH, Strip, placed
from loopwright.figures.terms import SI, Row, Terms, row
from loopwright.figures.theme import THEMES, Theme, ThemeName, config
from loopwright.figures.words import PHASES, place_word, reading_name
from loopwright.language import say

__all__ = ["in_order", "strips_figure"]

_NARROW = 560  # px; under it a row's words stand above its strip instead of beside it
_SHAPES = {"below": "triangle-left", "inside": "circle", "above": "triangle-right"}
_BAND = 16  # px, height of a band


@dataclass(frozen=True)
class _Line:
    """One row of the figure: its middle [px from the top], and what stands on it."""

    y: float
    expected: Expected
    row: Row
    strip: Strip


@dataclass(frozen=True)
class _Page:
    """Where things stand, in px: the strip from `left` to `right`, words at `name`, `value`, `word`."""

    left: float
    right: float
    name: float
    value: float
    word: float
    pitch: float
    lift: float


def in_order(expected: Iterable[Expected]) -> list[Expected]:
    """Return the readings in the order of the work: standing, running, after stop; within each as given."""
    phases = list(PHASES)
    return sorted(expected, key=lambda e: phases.index(e.phase) if e.phase in phases else len(phases))


def strips_figure(
    judgement: Judgement, terms: Terms = SI, theme: ThemeName = "light", width: int = DESKTOP
) -> dict[str, Any]:
    """Draw every expected band with its reading, as a Vega-Lite spec.

    Parameters
    ----------
    judgement : its `expected` is drawn, in the order of the work
    terms : the person's units
    theme : "light" or "dark"
    width : outer width [px], 390 for a phone
    """
    colours = THEMES[theme]
    page = _page(width - 24)
    lines, heads, height = _lines(judgement, terms, page)
    layers = [*_heads(heads, colours), *_bands(lines, colours), *_marks(lines, colours), *_words(lines, page, colours)]
    return {
        "$schema": SCHEMA,
        "description": say("Each reading as a mark on the band where it should lie."),
        "width": width - 24,
        "height": height,
        "padding": 12,
        "config": config(colours),
        "encoding": {
            "x": {"field": "x", "type": "quantitative", "scale": _across(page), "axis": None},
            "y": {"field": "y", "type": "quantitative", "scale": {"domain": [height, 0], "nice": False}, "axis": None},
        },
        "layer": layers,
    }


def _page(width: int) -> _Page:
    if width < _NARROW:
        return _Page(10, width - 10, 0, width - 62, width - 56, 72, 26)
    return _Page(330, width - 64, 0, 312, width - 48, 48, 0)


def _across(page: _Page) -> dict[str, Any]:
    return {"domain": [-REACH, 1 + REACH], "range": [page.left, page.right], "nice": False, "zero": False}


def _lines(judgement: Judgement, terms: Terms, page: _Page) -> tuple[list[_Line], list[tuple[float, str]], float]:
    lines: list[_Line] = []
    heads: list[tuple[float, str]] = []
    y = 0.0
    for phase, group in groupby(in_order(judgement.expected), key=lambda e: e.phase):
        heads.append((y + 12, say(PHASES.get(phase, phase))))
        y += 24
        for expected in group:
            shown = row(expected, terms, judgement.ambient_pressure)
            place = placed(shown.low, shown.median, shown.high, shown.measured)
            lines.append(_Line(y + page.pitch / 2 + page.lift / 2 - 6, expected, shown, place))
            y += page.pitch
        y += 10
    return lines, heads, max(y, 1.0)


def _heads(heads: Sequence[tuple[float, str]], theme: Theme) -> list[dict[str, Any]]:
    values = [{"x": 0, "y": y, "says": says} for y, says in heads]
    return [_text(values, theme.grey, x=0, size=13, weight=600)]


def _bands(lines: Sequence[_Line], theme: Theme) -> list[dict[str, Any]]:
    track = [{"x": -REACH, "to": 1 + REACH, "y": line.y} for line in lines]
    band = [{"x": 0, "to": 1, "y": line.y} for line in lines]
    median = [{"x": line.strip.median, "y": line.y} for line in lines]
    across = {"x2": {"field": "to"}}
    ends = [
        {"x": end, "y": line.y, "says": says} for line in lines for end, says in zip((0, 1), _ends(line), strict=True)
    ]
    rule = {"type": "rule", "stroke": theme.faint, "strokeWidth": 4, "strokeCap": "round"}
    box = {"type": "rule", "stroke": theme.band, "strokeWidth": _BAND}
    tick = {"type": "tick", "orient": "vertical", "size": _BAND, "thickness": 2, "color": theme.accent}
    return [
        {"data": {"values": track}, "mark": rule, "encoding": across},
        {"data": {"values": band}, "mark": box, "encoding": across},
        {"data": {"values": median}, "mark": tick},
        _text(ends, theme.grey, size=11, dy=_BAND / 2 + 9, align="center"),
    ]


def _ends(line: _Line) -> tuple[str, str]:
    low, high = line.row.ends
    return (low, high) if line.row.value else (low, f"{high} {line.row.unit}")


def _marks(lines: Sequence[_Line], theme: Theme) -> list[dict[str, Any]]:
    values = [mark for line in lines for mark in _mark(line, theme)]
    shape = {"field": "shape", "type": "nominal", "scale": None}
    colour = {"field": "colour", "type": "nominal", "scale": None}
    size = {"field": "size", "type": "quantitative", "scale": None}
    mark = {"type": "point", "filled": True, "opacity": 1, "stroke": theme.paper, "strokeWidth": 1.5}
    return [{"data": {"values": values}, "mark": mark, "encoding": {"shape": shape, "fill": colour, "size": size}}]


def _mark(line: _Line, theme: Theme) -> Iterable[dict[str, Any]]:
    """One mark a reading; a second one before it where the reading lies beyond the strip's end."""
    place = line.strip
    if place.mark is None or place.word is None:
        return
    colour = {"low_side": theme.low, "high_side": theme.high}.get(line.expected.point, theme.ink)
    mark = {"y": line.y, "shape": _SHAPES[place.word], "colour": colour, "size": 150 if place.word == "inside" else 280}
    if place.beyond:
        yield {**mark, "x": place.mark + (0.08 if place.word == "below" else -0.08)}
    yield {**mark, "x": place.mark}


def _words(lines: Sequence[_Line], page: _Page, theme: Theme) -> list[dict[str, Any]]:
    names = [{"x": 0, "y": x.y - page.lift, "says": reading_name(x.expected)} for x in lines]
    read = [x for x in lines if x.strip.word is not None]
    values = [{"x": 0, "y": x.y - page.lift, "says": f"{x.row.value} {x.row.unit}"} for x in read]
    missing = [{"x": 0, "y": x.y - page.lift, "says": say("not read")} for x in lines if x.strip.word is None]
    outside = [
        {"x": 0, "y": x.y - page.lift, "says": place_word(x.strip.word)} for x in read if x.strip.word != "inside"
    ]
    inside = [
        {"x": 0, "y": x.y - page.lift, "says": place_word(x.strip.word)} for x in read if x.strip.word == "inside"
    ]
    return [
        _text(names, theme.ink, x=page.name, size=14),
        _text(values, theme.ink, x=page.value, size=15, weight=700, align="right"),
        _text(missing, theme.grey, x=page.value, size=13, align="right"),
        _text(outside, theme.ink, x=page.word, size=13, weight=700),
        _text(inside, theme.grey, x=page.word, size=13),
    ]


def _text(
    values: list[dict[str, Any]],
    colour: str,
    *,
    x: float | None = None,
    size: int = 12,
    weight: int = 400,
    align: str = "left",
    dy: float = 0,
) -> dict[str, Any]:
    """A layer of words, at a fixed place across the page where `x` [px] is given, else at the value of each."""
    mark = {
        "type": "text",
        "align": align,
        "baseline": "middle",
        "dy": dy,
        "fontSize": size,
        "fontWeight": weight,
        "color": colour,
        "aria": True,
    }
    encoding: dict[str, Any] = {"text": {"field": "says"}, "description": {"field": "says"}}
    if x is not None:
        encoding["x"] = {"value": x}
    return {"data": {"values": values}, "mark": mark, "encoding": encoding}
