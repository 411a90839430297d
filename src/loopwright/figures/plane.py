"""The pressure-enthalpy plane: the cycle that the readings tell of, over the one this vehicle should show today."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from loopwright.diagnosis.judgement import Expected, Judgement, PlanePoint
from loopwright.figures.dome import dome, saturated_liquid
from loopwright.figures.render import SCHEMA
from loopwright.figures.terms import SI, Row, Terms, row
from loopwright.figures.theme import THEMES, Theme, ThemeName, config
from loopwright.figures.words import headline
from loopwright.language import say

__all__ = ["DESKTOP", "PHONE", "plane_figure"]

PHONE, DESKTOP = 390, 760  # px, outer widths
_MARGIN = 24  # px, padding beside the plot
_TICKS = (50, 100, 200, 500, 1000, 2000, 5000, 10000)  # kPa
_CLEAR = 0.8  # share of the healthy cycles that the words beside them stay clear of
_ROOM = 54  # px, two lines of words under the lowest edge
_HEAVY = 3.0  # px, the measured cycle
_SLOPE = 1.2  # ratio of pressures within one edge; a corner beyond, as behind a restriction, is not of it
_FLAT = 12.0  # px, the fall of an edge that still counts as lying
_DRAWN_IN_TURN = {"order": {"field": "i", "type": "quantitative"}}  # a closed path, not a function of x
Cycle = Sequence[PlanePoint]


@dataclass(frozen=True)
class _View:
    """What part of the plane is shown: enthalpy in kJ/kg, pressure in kPa, and its size in px."""

    h: tuple[float, float]
    p: tuple[float, float]
    width: int
    height: int


def plane_figure(
    judgement: Judgement,
    terms: Terms = SI,
    theme: ThemeName = "light",
    width: int = DESKTOP,
    height: int | None = None,
) -> dict[str, Any]:
    """Draw the judgement in the pressure-enthalpy plane, as a Vega-Lite spec.

    Parameters
    ----------
    judgement : with its cycles; where they are empty only the dome and the sentence are drawn
    terms : the person's units, for the labels
    theme : "light" or "dark"
    width : outer width [px], 390 for a phone
    height : of the plane inside its axes [px]; by the width where none is given
    """
    colours = THEMES[theme]
    outline = _outline(judgement.refrigerant)
    view = _view(judgement, outline, width, height)
    return {
        "$schema": SCHEMA,
        "description": headline(judgement, terms),
        "title": title(judgement, terms, width),
        "width": view.width,
        "height": view.height,
        "padding": 12,
        "config": config(colours),
        "encoding": _axes(view),
        "layer": [
            *_dome_layers(outline, colours),
            *_healthy_layers(judgement, colours),
            *_measured_layers(judgement, colours),
            *_isotherm_layers(outline, judgement, terms, colours, view),
            *_labels(_words(judgement, terms, colours, view), colours),
        ],
    }


def title(judgement: Judgement, terms: Terms, width: int) -> dict[str, Any]:
    """Return the title of a figure: the verdict's sentence, and under it the vehicle and its refrigerant."""
    under = " · ".join(part for part in (terms.label, judgement.refrigerant) if part)
    return {
        "text": fold(headline(judgement, terms), width, 17),
        "subtitle": under,
        "fontSize": 17,
        "subtitleFontSize": 13,
        "offset": 14,
        "subtitlePadding": 5,
        "frame": "bounds",
    }


def fold(text: str, width: int, size: int) -> list[str]:
    """Break a sentence into lines for `width` px at a type size of `size` px."""
    import textwrap

    return textwrap.wrap(text, max(12, int((width - 24) / (0.52 * size))))  # 0.52 em: a bold letter's mean width


def _outline(refrigerant: str) -> tuple[tuple[float, float], ...]:
    try:
        return dome(refrigerant)
    except ValueError:  # a refrigerant without tables: the cycle stands without its dome
        return ()


def _view(judgement: Judgement, outline: Sequence[tuple[float, float]], width: int, height: int | None = None) -> _View:
    corners = [c for cycle in _cycles(judgement) for c in cycle]
    pressures = [c.pressure for c in corners] or [p for _, p in outline] or [100e3, 3000e3]
    enthalpies = [c.enthalpy for c in corners] or [h for h, _ in outline] or [200e3, 450e3]
    top = max(1.35 * max(pressures), 1.12 * max((p for _, p in outline), default=0.0))
    inner = width - _MARGIN
    height = round(min(0.95 * inner, 250 + 0.3 * inner)) if height is None else height
    bottom = _bottom(min(pressures), top, height)
    left = min([min(enthalpies) - 20e3, *(h - 22e3 for h, p in outline if p >= bottom)])  # room for the labels inside
    right = max([max(enthalpies) + 16e3, *(h + 8e3 for h, p in outline if p >= bottom)])
    return _View((left / 1e3, right / 1e3), (bottom / 1e3, top / 1e3), inner, height)


def _bottom(lowest: float, top: float, height: int) -> float:
    """Least pressure shown, so that two lines of words fit under the lowest edge of a plot `height` px tall."""
    share = _ROOM / height
    return math.exp((math.log(lowest) - share * math.log(top)) / (1 - share))


def _cycles(judgement: Judgement) -> list[Cycle]:
    found = [judgement.cycle, judgement.healthy_cycle, *judgement.healthy_cycles]
    return [cycle for cycle in found if cycle]


def _axes(view: _View) -> dict[str, Any]:
    ticks = _ticks(view)
    inside = {"labelAlign": "left", "labelBaseline": "bottom", "labelPadding": 0, "labelOffset": -2, "title": None}
    return {
        "x": {
            "field": "h",
            "type": "quantitative",
            "scale": {"domain": list(view.h), "nice": False, "zero": False},
            "axis": {
                "title": say("specific enthalpy, kJ/kg"),
                "titlePadding": 8,
                "labelPadding": 6,
                "grid": False,
                "tickCount": 5,
            },
        },
        "y": {
            "field": "p",
            "type": "quantitative",
            "scale": {"type": "log", "domain": list(view.p), "nice": False},
            "axis": {**inside, "grid": True, "format": "d", "values": ticks, "labelExpr": _unit_on_top(ticks)},
        },
    }


def _ticks(view: _View) -> list[int]:
    return [t for t in _TICKS if 1.15 * view.p[0] <= t <= view.p[1]]


def _unit_on_top(ticks: Sequence[int]) -> str:
    """Only the topmost label carries the unit, so that no axis title stands upright beside the plot."""
    unit = say("kPa absolute")
    return f"datum.value == {max(ticks, default=0)} ? datum.label + ' {unit}' : datum.label"


def _dome_layers(outline: Sequence[tuple[float, float]], theme: Theme) -> list[dict[str, Any]]:
    values = [{"h": h / 1e3, "p": p / 1e3, "i": i} for i, (h, p) in enumerate(outline)]
    line = {"type": "line", "stroke": theme.soft, "strokeWidth": 1.5, "clip": True}
    return [{"data": {"values": values}, "mark": line, "encoding": _DRAWN_IN_TURN}] if outline else []


def _isotherm_layers(
    outline: Sequence[tuple[float, float]], judgement: Judgement, terms: Terms, theme: Theme, view: _View
) -> list[dict[str, Any]]:
    if not outline:
        return []
    room = 46 * (view.h[1] - view.h[0]) / view.width  # kJ/kg that a temperature's words take
    taken = [_box(label, view) for label in _words(judgement, terms, theme, view)]
    taken += [
        _top_tick_box(view),
        *_edge_boxes(judgement.cycle, view),
        *_edge_boxes(judgement.healthy_cycle, view),
    ]
    shown = [mark for mark in _isotherms(judgement, terms) if mark["h"] - room > view.h[0]]
    marks = {"values": [mark for mark in shown if not any(_meet(_isotherm_box(mark, view), box) for box in taken)]}
    words = {"type": "text", "align": "right", "dx": -7, "dy": -3, "color": theme.grey, "fontSize": 11}
    halo = {**words, "color": theme.paper, "stroke": theme.paper, "strokeWidth": 3}
    text = {"text": {"field": "says"}}
    return [
        {"data": marks, "mark": {"type": "point", "filled": True, "size": 16, "color": theme.soft, "opacity": 1}},
        {"data": marks, "mark": halo, "encoding": text},
        {"data": marks, "mark": words, "encoding": text},
    ]


_Box = tuple[float, float, float, float]  # px: left, top, right, bottom
_LETTER = 0.56  # em, a letter's mean width


def _at(view: _View, h: float, p: float) -> tuple[float, float]:
    """Place of a state in the plot [px from its left and top]."""
    across = (h - view.h[0]) / (view.h[1] - view.h[0])
    down = math.log(view.p[1] / p) / math.log(view.p[1] / view.p[0])
    return across * view.width, down * view.height


def _box(label: _Label, view: _View) -> _Box:
    x, y = _at(view, label.h, label.p)
    half = _LETTER * label.size * len(label.says) / 2
    top = y - _away(label) - label.size if label.above else y + _away(label)
    return (x - half, top, x + half, top + label.size)


def _isotherm_box(mark: dict[str, Any], view: _View) -> _Box:
    x, y = _at(view, mark["h"], mark["p"])
    return (x - 7 - _LETTER * 11 * len(mark["says"]), y - 10, x - 3, y + 4)


def _top_tick_box(view: _View) -> _Box:
    top = max(_ticks(view), default=view.p[1])
    _, y = _at(view, view.h[0], top)
    return (0, y - 16, _LETTER * 12 * len(f"{top:.0f} kPa absolute"), y)


def _edge_boxes(cycle: Cycle, view: _View) -> Iterable[_Box]:
    """What the edges of a cycle that stand upright, or lie nearly flat, take up."""
    for one, other in zip(cycle, [*cycle[1:], *cycle[:1]], strict=True):
        (x, y), (x2, y2) = (_at(view, c.enthalpy / 1e3, c.pressure / 1e3) for c in (one, other))
        if abs(x - x2) < _HEAVY or abs(y - y2) < _FLAT:
            yield (min(x, x2) - _HEAVY, min(y, y2) - _HEAVY, max(x, x2) + _HEAVY, max(y, y2) + _HEAVY)


def _meet(one: _Box, other: _Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _isotherms(judgement: Judgement, terms: Terms) -> Iterable[dict[str, Any]]:
    """Temperatures at which the refrigerant boils, along the liquid side: how a technician reads a pressure."""
    unit = terms.unit("temperature").symbol
    steps = range(-40, 200, 40) if unit == "°F" else range(-20, 90, 20)
    for degrees in steps:
        kelvin = (degrees + 459.67) * 5 / 9 if unit == "°F" else degrees + 273.15
        h, p = saturated_liquid(judgement.refrigerant, kelvin)
        yield {"h": h / 1e3, "p": p / 1e3, "says": f"{degrees} {unit if unit == '°F' else '°C'}"}


def _path(cycle: Cycle, name: int = 0) -> list[dict[str, Any]]:
    closed = [*cycle, cycle[0]] if cycle else []
    return [{"h": c.enthalpy / 1e3, "p": c.pressure / 1e3, "i": i, "cycle": name} for i, c in enumerate(closed)]


def _healthy_layers(judgement: Judgement, theme: Theme) -> list[dict[str, Any]]:
    spread = [point for n, cycle in enumerate(judgement.healthy_cycles) for point in _path(cycle, n)]
    many = max(len(judgement.healthy_cycles), 1)
    thin = {"type": "line", "stroke": theme.accent, "strokeWidth": 1, "opacity": min(0.5, 4.0 / many), "clip": True}
    median = {"type": "line", "stroke": theme.accent, "strokeWidth": 1.5, "strokeDash": [5, 3], "clip": True}
    layers: list[dict[str, Any]] = []
    if judgement.healthy_cycle:
        body = {"type": "line", "filled": True, "fill": theme.band, "fillOpacity": 0.45, "strokeWidth": 0, "clip": True}
        layers.append({"data": {"values": _path(judgement.healthy_cycle)}, "mark": body, "encoding": _DRAWN_IN_TURN})
    if spread:
        layers.append(
            {"data": {"values": spread}, "mark": thin, "encoding": {**_DRAWN_IN_TURN, "detail": {"field": "cycle"}}}
        )
    if judgement.healthy_cycle:
        layers.append({"data": {"values": _path(judgement.healthy_cycle)}, "mark": median, "encoding": _DRAWN_IN_TURN})
    return layers


def _measured_layers(judgement: Judgement, theme: Theme) -> list[dict[str, Any]]:
    if not judgement.cycle:
        return []
    data = {"values": _path(judgement.cycle)}
    stops = [(0.0, theme.high), (0.3, theme.high), (0.7, theme.low), (1.0, theme.low)]
    fade = {"gradient": "linear", "x1": 0, "y1": 0, "x2": 0, "y2": 1}
    stroke = {**fade, "stops": [{"offset": offset, "color": colour} for offset, colour in stops]}
    line = {"type": "line", "stroke": stroke, "strokeWidth": _HEAVY, "strokeJoin": "round", "clip": True}
    halo = {**line, "stroke": theme.paper, "strokeWidth": _HEAVY + 3, "opacity": 0.8}
    return [{"data": data, "mark": mark, "encoding": _DRAWN_IN_TURN} for mark in (halo, line)]


@dataclass(frozen=True)
class _Label:
    """Words beside an edge of a cycle: `above` or below it, `line` lines away."""

    h: float
    p: float
    above: bool
    says: str
    colour: str
    size: int = 13
    weight: int = 400
    line: int = 0


_OF_LABEL = {  # how each of the labels is drawn is among its data, for a layer more takes a renderer longer than a word
    name: {"expr": f"datum.{name}"} for name in ("baseline", "dy", "fontSize", "fontWeight")
}


def _labels(words: Iterable[_Label], theme: Theme) -> list[dict[str, Any]]:
    values = [
        {
            "h": label.h,
            "p": label.p,
            "says": label.says,
            "colour": label.colour,
            "baseline": "bottom" if label.above else "top",
            "dy": -_away(label) if label.above else _away(label),
            "fontSize": label.size,
            "fontWeight": label.weight,
        }
        for label in words
    ]
    mark = {"type": "text", "align": "center", **_OF_LABEL}
    text = {"text": {"field": "says"}}
    halo = {**mark, "color": theme.paper, "stroke": theme.paper, "strokeWidth": 3.5, "strokeOpacity": 0.75}
    heard = {**text, "description": {"field": "says"}}
    words_themselves = {**mark, "fill": {"expr": "datum.colour"}, "aria": True}
    data = {"values": values}
    return [
        {"data": data, "mark": halo, "encoding": text},
        {"data": data, "mark": words_themselves, "encoding": heard},
    ]


def _away(label: _Label) -> int:
    return 9 + 16 * label.line


def _words(judgement: Judgement, terms: Terms, theme: Theme, view: _View) -> Iterable[_Label]:
    """Each side's label stands away from the healthy edge, the healthy cycle's away from the measured one."""
    if judgement.cycle:
        yield from _side(judgement, terms, "high_side", say("High side"), theme.high, theme)
        yield from _side(judgement, terms, "low_side", say("Low side"), theme.low, theme)
    if judgement.healthy_cycle:
        h, p = _edge(judgement.healthy_cycle, "high_side")
        above = not judgement.cycle or p > _edge(judgement.cycle, "high_side")[1]
        reached = sorted(_edge(c, "high_side")[1] for c in judgement.healthy_cycles) or [p]
        far = reached[int((_CLEAR if above else 1 - _CLEAR) * (len(reached) - 1))]
        yield _Label(h, max(far, p) if above else min(far, p), above, say("what it should show today"), theme.accent)


def _side(judgement: Judgement, terms: Terms, point: str, name: str, colour: str, theme: Theme) -> Iterable[_Label]:
    h, p = _edge(judgement.cycle, point)
    healthy = _edge(judgement.healthy_cycle, point)[1] if judgement.healthy_cycle else p
    above = p > healthy or (p == healthy and point == "high_side")
    h, p = _edge(judgement.cycle, point, above)  # words must not cross an edge that slopes
    found = _running(judgement, terms, point)
    if found is None:
        yield _Label(h, p, above, name, colour, weight=700)
        return
    measured = f"{name} {found.value} {found.unit}" if found.value else say("{side}, not read", side=name)
    expected = say("expected {band} {unit}", band=found.band, unit=found.unit)
    first, second = (1, 0) if above else (0, 1)
    yield _Label(h, p, above, measured, colour, size=14, weight=700, line=first)
    yield _Label(h, p, above, expected, theme.grey, line=second)


def _running(judgement: Judgement, terms: Terms, point: str) -> Row | None:
    def fits(e: Expected) -> bool:
        return (e.phase, e.point, e.quantity) == ("running", point, "pressure")

    found = next((e for e in judgement.expected if fits(e)), None)
    return None if found is None else row(found, terms, judgement.ambient_pressure)


def _edge(cycle: Cycle, point: str, top: bool | None = None) -> tuple[float, float]:
    """Middle of a cycle's long upper or lower edge: enthalpy [kJ/kg], pressure [kPa]; edges slope.

    The pressure is that of the edge's `top` or of its lowest point; of the outer one where neither is asked for.
    """
    middle = math.sqrt(max(c.pressure for c in cycle) * min(c.pressure for c in cycle))
    high = point == "high_side"
    side = [c for c in cycle if (c.pressure >= middle) == high]
    h = (max(c.enthalpy for c in side) + min(c.enthalpy for c in side)) / 2
    outer = max(c.pressure for c in side) if high else min(c.pressure for c in side)
    edge = [c.pressure for c in side if max(c.pressure / outer, outer / c.pressure) < _SLOPE]
    return h / 1e3, (outer if top is None else max(edge) if top else min(edge)) / 1e3
