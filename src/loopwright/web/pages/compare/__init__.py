"""Before beside after: both verdicts, both pictures, the readings side by side, and what was done between."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from loopwright.api.service_job import Kept, replay
from loopwright.api.shop import TESTS, StoredJob, TestView
from loopwright.figures.states import state_rows
from loopwright.figures.words import headline
from loopwright.language import say, spoken
from loopwright.service.procedure import StepState, derive, records
from loopwright.web.pages.job.show import person_units, terms_of
from loopwright.web.render import page
from loopwright.web.security import me, needs
from loopwright.web.shown import Badge, Shown, badge, job_or_404, shop_of, strips_of, when

__all__ = ["router"]

router = APIRouter()


@dataclass(frozen=True)
class Side:
    """One of the two tests: its verdict as a sentence, when, in what weather, and where its picture is."""

    test: str
    title: str
    when: str
    weather: str
    badge: Badge
    sentence: str
    plane: str
    states: Mapping[str, str]


@dataclass(frozen=True)
class Pair:
    """One reading before and after; None where that test has no band for it."""

    phase: str
    name: str
    before: Shown | None
    after: Shown | None


@dataclass(frozen=True)
class Act:
    """One step of the service between the tests: what it wrote down, and why it ended otherwise where it did."""

    title: str
    wrote: str
    by: str
    when: str
    reason: str


@router.get("/jobs/{job}/compare", dependencies=[needs("trainee")])
def compare_page(request: Request, job: str) -> Response:
    """Show both tests of a job beside each other."""
    stored = job_or_404(request, job)
    shop = shop_of(request)
    views = {test: shop.view(stored, test, spoken()) for test in TESTS}
    for test, view in views.items():
        if not view.fresh:
            shop.judge(stored, test, spoken())
    units = person_units(me(request))
    sides = [_side(stored, test, view, units) for test, view in views.items()]
    rows = {test: _rows(view, units) for test, view in views.items()}
    states = dict.fromkeys(name for side in sides for name in side.states)
    return page(
        request,
        "compare/page.html",
        stored=stored,
        sides=sides,
        pairs=_pairs(rows["before"], rows["after"]),
        states=[(name, [side.states.get(name, "") for side in sides]) for name in states],
        done=_done(stored),
    )


def _side(stored: StoredJob, test: str, view: TestView, units: dict[str, str]) -> Side:
    terms = terms_of(view, units)
    began = stored.state.tests[test].began
    title = say("Before") if test == "before" else say("After")
    if view.judgement is None:
        return Side(test, title, when(began) if began else "", terms.weather, badge(""), "", "", {})
    return Side(
        test,
        title,
        when(began),
        terms.weather,
        badge(view.judgement.verdict),
        headline(view.judgement, terms),
        f"/jobs/{stored.id}/{test}/plane.svg?v={view.made}",
        dict(state_rows(view.judgement, terms)),
    )


def _rows(view: TestView, units: dict[str, str]) -> dict[tuple[str, str, str, str], Shown]:
    if view.judgement is None:
        return {}
    return {one.key: one for one in strips_of(view.judgement, terms_of(view, units))}


def _pairs(before: dict[Any, Shown], after: dict[Any, Shown]) -> list[Pair]:
    """The readings that were read in either test, in the order of the work."""
    found = []
    for key in dict.fromkeys([*before, *after]):
        one, other = before.get(key), after.get(key)
        named = one or other
        if named is not None and any(side is not None and side.value for side in (one, other)):
            found.append(Pair(named.phase, named.name, one, other))
    return found


def _done(stored: StoredJob) -> list[Act]:
    """The steps of the service that are ended, each with what it wrote down."""
    kept = replay(stored.state.service)
    if not kept.events:
        return []
    return [
        Act(say(one.step.title), _wrote(kept, one), one.by, _clock(one.ended), one.reason)
        for one in derive(kept.events).steps
        if one.ended is not None
    ]


def _wrote(kept: Kept, one: StepState) -> str:
    values = {record: kept.written.get((one.step.id, record), "") for record in one.records}
    words = {r: say(v.replace("_", " ")) if records()[r].choices else v for r, v in values.items() if v}
    return " · ".join(f"{say(record.replace('_', ' '))} {value}" for record, value in words.items())


def _clock(at: float | None) -> str:
    try:
        return "" if at is None else when(datetime.fromtimestamp(at, UTC).isoformat())
    except (ValueError, OverflowError, OSError):
        return ""
