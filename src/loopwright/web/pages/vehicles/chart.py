"""The charge in a vehicle over its visits, as places in a drawing: a bar for what is likely, a mark for the middle."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import NamedTuple

__all__ = ["Chart", "Mark", "Point", "chart_of"]

WIDTH, HEIGHT = 480, 190
_LEFT, _RIGHT, _TOP, _BOTTOM = 24, 70, 16, 34
_APART = 26.0  # px, least distance of two marks


class Point(NamedTuple):
    """One estimate: when, and the charge [kg] with its interval; `job` is the number of the visit."""

    at: datetime
    low: float
    median: float
    high: float
    job: int


class Mark(NamedTuple):
    """One estimate as drawn."""

    x: float
    low: float
    median: float
    high: float
    text: str
    job: int
    year: str


class Chart(NamedTuple):
    """The drawing: its marks from left to right, the line of the label's charge, and where they end."""

    width: int
    height: int
    marks: tuple[Mark, ...]
    label: float | None
    label_text: str
    floor: float
    left: float
    right: float


def chart_of(points: Sequence[Point], label: float | None, words: Callable[[float], str]) -> Chart | None:
    """Place the estimates; None where there are fewer than two.

    Parameters
    ----------
    points : estimates, in any order
    label : what the label says [kg], None where it is not known
    words : writes a charge

    >>> at = datetime(2026, 5, 4)
    >>> chart_of([Point(at, 0.4, 0.5, 0.6, 1)], 0.5, str) is None
    True
    """
    if len(points) < 2:
        return None
    rows = sorted(points)
    top = max([p.high for p in rows] + ([label] if label else [])) or 1.0

    def y(charge: float) -> float:
        return HEIGHT - _BOTTOM - (HEIGHT - _TOP - _BOTTOM) * charge / top

    marks = tuple(
        Mark(x, y(p.low), y(p.median), y(p.high), words(p.median), p.job, f"{p.at:%Y-%m}")
        for p, x in zip(rows, _across([p.at for p in rows]), strict=True)
    )
    line = None if label is None else y(label)
    return Chart(WIDTH, HEIGHT, marks, line, words(label or 0.0), y(0.0), _LEFT, WIDTH - _RIGHT)


def _across(moments: Sequence[datetime]) -> list[float]:
    """Places in time, moved apart where two would lie on each other."""
    first, last = moments[0].timestamp(), moments[-1].timestamp()
    room = WIDTH - _LEFT - _RIGHT - _APART
    apart = min(_APART, room / (len(moments) - 1))
    found: list[float] = []
    for moment in moments:
        share = (moment.timestamp() - first) / (last - first) if last > first else 0.0
        place = _LEFT + _APART / 2 + share * room
        found.append(max(place, found[-1] + apart) if found else place)
    over = found[-1] - (WIDTH - _RIGHT - _APART / 2)
    return found if over <= 0 else [place - over * (i / (len(found) - 1)) for i, place in enumerate(found)]
