"""The page of a test, start to end: what is typed lands as an entry, and the page moves with it."""

from __future__ import annotations

from typing import Any, Literal

from fastapi import APIRouter, Body, Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from loopwright.api.people import Person
from loopwright.api.shop import TESTS, Entry, Shop, StoredJob, TestView
from loopwright.errors import InputError, Problem
from loopwright.language import say, spoken
from loopwright.web.live import stream
from loopwright.web.pages.job.show import labels_of, page_stages, person_units, terms_of
from loopwright.web.pages.job.told import tell
from loopwright.web.render import page
from loopwright.web.security import me, needs

__all__ = ["entries_of", "job_values", "router"]

router = APIRouter()
MOST_AT_ONCE = 200  # entries of one sending: an hour without a connection


@router.post("/jobs", dependencies=[needs("trainee")])
def open_job(request: Request) -> Response:
    """Open a job, for a vehicle that is known where the form names one, and show it."""
    form = request.state.form
    vehicle = str(form.get("vehicle", "")) or None
    person = me(request)
    job = _shop(request).open_job(person.name, vehicle)
    own = {"gauges": person.preferences.gauge, "gauge_accuracy": person.preferences.gauge_accuracy}
    kept = {f"{test}.{key}": value for test in TESTS for key, value in own.items() if value}
    if kept:  # the person's own gauges, said once and for all on the settings page
        _shop(request).write(job, person.name, kept)
    return RedirectResponse(f"/jobs/{job}", 303)


@router.get("/jobs/{job}", dependencies=[needs("trainee")])
def show_job(request: Request, job: str, test: Literal["before", "after"] = "before") -> Response:
    """Show one test of a job."""
    return page(request, "job/page.html", **job_values(request, _shop(request).job(job), test))


@router.post("/jobs/{job}/entries", dependencies=[needs("trainee")])
def enter(request: Request, job: str, entries: list[dict[str, Any]] = Body(embed=True)) -> Response:  # noqa: B008
    """Keep entries; the same one sent again is kept once."""
    made = entries_of(entries, me(request))
    stored = _shop(request).enter(job, made, spoken())
    return JSONResponse({"job": job, "entries": len(stored.entries)})


@router.get("/jobs/{job}/live", dependencies=[needs("trainee")])
async def live(request: Request, job: str) -> Response:
    """Tell when the job changes."""
    return stream(request, f"job:{job}", me(request).id)


def entries_of(entries: list[dict[str, Any]], person: Person) -> list[Entry]:
    """Return what was sent as entries of this person.

    Raises
    ------
    InputError : too many, or one without what every entry has
    """
    if len(entries) > MOST_AT_ONCE:
        allowed = f"at most {MOST_AT_ONCE}"
        raise InputError([Problem("entries", str(len(entries)), allowed, say("Too many at once."))])
    problems = [
        Problem(f"entries[{i}]", "not an entry", "id, at, kind and data", say("Not an entry."))
        for i, entry in enumerate(entries)
        if not _whole(entry)
    ]
    if problems:
        raise InputError(problems)
    return [Entry(entry["id"], entry["at"], person.name, entry["kind"], entry["data"]) for entry in entries]


def _whole(entry: dict[str, Any]) -> bool:
    texts = all(isinstance(entry.get(key), str) and len(entry[key]) <= 64 for key in ("id", "at", "kind"))
    return texts and isinstance(entry.get("data"), dict)


def job_values(request: Request, stored: StoredJob, test: str) -> dict[str, Any]:
    """Return what the page of a test shows."""
    shop, units = _shop(request), person_units(me(request))
    seen = request.app.state.hub.last  # before looking, so that whatever changes meanwhile is told
    view = shop.view(stored, test, spoken())
    # A judgement that is there already counts, even while the shop still tidies up after it.
    judging = not view.fresh and (shop.judge(stored, test, spoken()) or shop.judging(stored.id, test, spoken()))
    terms = terms_of(view, units)
    told = tell(view.judgement, terms) if view.judgement else None
    return {
        "stored": stored,
        "test": test,
        "stages": page_stages(stored, view, test, units),
        "problems": view.problems,
        "labels": labels_of(view.problems),
        "told": told,
        "lacking": _lacking(view),
        "judging": judging,
        "seen": seen,
        "plane": lambda width, theme: _plane(stored, test, view, width, theme),
    }


def _plane(stored: StoredJob, test: str, view: TestView, width: int, theme: str) -> str:
    return f"/jobs/{stored.id}/{test}/plane.svg?w={width}&theme={theme}&v={view.made}"


def _lacking(view: TestView) -> str:
    """What is missing before anything can be judged, as a sentence."""
    words = [labels_of([name])[name] for name in view.lacking]
    return say("Write down first: {fields}.", fields=", ".join(words)) if words else ""


def _shop(request: Request) -> Shop:
    shop: Shop = request.app.state.shop
    return shop
