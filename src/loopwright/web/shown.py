"""What several pages show alike: the shop behind a request, moments in words, verdicts with their shape, strips."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from fastapi import HTTPException, Request

from loopwright.api.shop import Shop, StoredJob
from loopwright.errors import InputError
from loopwright.figures import Judgement, Strip, Terms, placed
from loopwright.figures.strips import in_order
from loopwright.figures.terms import row
from loopwright.figures.words import PHASES, VERDICTS, place_word, reading_name
from loopwright.language import date, moment, say

__all__ = ["Badge", "Shown", "about", "badge", "day", "job_or_404", "main_first", "shop_of", "strips_of", "when"]

SHAPES = {"performs": "✓", "marginal": "△", "does_not_perform": "✕", "cannot_say": "?"}
_MAIN = ("low_side", "high_side", "vent_center")


@dataclass(frozen=True)
class Badge:
    """A verdict as a shape and a word."""

    verdict: str
    shape: str
    word: str


@dataclass(frozen=True)
class Shown:
    """One reading with its strip: `value` is empty where nothing was read."""

    key: tuple[str, str, str, str]
    phase: str
    name: str
    value: str
    strip: Strip
    sigma: float
    band: str
    word: str


def shop_of(request: Request) -> Shop:
    """Return the shop behind a request."""
    shop: Shop = request.app.state.shop
    return shop


def job_or_404(request: Request, job: str) -> StoredJob:
    """Return one job.

    Raises
    ------
    HTTPException : there is none of that id (404)
    """
    try:
        return shop_of(request).job(job)
    except InputError as error:
        raise HTTPException(404, error.problems[0].says) from error


def badge(verdict: str) -> Badge:
    """Return how a verdict is shown; "" is that nothing was judged.

    >>> badge("performs").word, badge("").word
    ('Performs', 'Not judged')
    """
    word = say(VERDICTS[verdict]) if verdict in VERDICTS else say("Not judged")
    return Badge(verdict if verdict in SHAPES else "none", SHAPES.get(verdict, "·"), word)


def when(at: str) -> str:
    """Return a moment in words, by this machine's time; what is no moment stays as it is."""
    found = _moment(at)
    return moment(found) if found else at


def day(at: str, today: str = "") -> str:
    """Return the day of a moment in words; `today` is the present moment, for "today" and "yesterday".

    >>> day("2026-05-03T12:00:00Z", "2026-05-04T12:00:00Z"), day("no moment")
    ('yesterday', 'no moment')
    """
    found, present = _moment(at), _moment(today)
    if found is None:
        return at
    apart = (present.date() - found.date()).days if present else -1
    return {0: say("today"), 1: say("yesterday")}.get(apart) or date(found.date())


def _moment(at: str) -> datetime | None:
    """A moment in this machine's zone. Entries carry what a device sent, which may be no moment at all."""
    try:
        found = datetime.fromisoformat(at)
        return (found if found.tzinfo else found.replace(tzinfo=UTC)).astimezone()
    except (ValueError, OverflowError, OSError):
        return None


def about(card: Mapping[str, str]) -> str:
    """Return what tells one vehicle from another beside its name: plate, customer.

    >>> about({"label": "Van", "plate": "AB 12", "customer": "Mill"})
    'AB 12 · Mill'
    """
    shown = ("plate", "customer") if card.get("label") else ("customer",)
    return " · ".join(card[key] for key in shown if card.get(key))


def strips_of(judgement: Judgement, terms: Terms) -> list[Shown]:
    """Return every expected reading with its strip, in the order of the work."""
    found = []
    for e in in_order(judgement.expected):
        r = row(e, terms, judgement.ambient_pressure)
        strip = placed(r.low, r.median, r.high, r.measured)
        width = e.interval.high - e.interval.low
        found.append(
            Shown(
                (e.phase, e.point, e.quantity, e.statistic),
                say(PHASES.get(e.phase, e.phase)),
                reading_name(e),
                f"{r.value} {r.unit}" if r.value else "",
                strip,
                0.0 if width <= 0 else min(e.sigma / width, 1.0),
                f"{r.band} {r.unit}",
                place_word(strip.word),
            )
        )
    return found


def main_first(shown: Iterable[Shown]) -> Sequence[Shown]:
    """Return the readings by which people talk: running pressures and the centre vent, those that were read."""
    by_key = {one.key[:2]: one for one in shown if one.value and one.key[3] == "mean" and one.key[0] == "running"}
    return [by_key["running", point] for point in _MAIN if ("running", point) in by_key]
