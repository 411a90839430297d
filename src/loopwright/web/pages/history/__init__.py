"""Who wrote what in a job, and when; anything that still counts can be taken back, and nothing is ever erased."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Query, Request
from starlette.responses import RedirectResponse, Response

from loopwright.api.people import Person
from loopwright.api.shop import Entry, StoredJob, acts, new_entry, test_fields, undone, vehicle_fields
from loopwright.language import later, say, spoken
from loopwright.service.procedure import steps
from loopwright.web.pages.job.show import labels_of
from loopwright.web.render import page
from loopwright.web.security import me, needs
from loopwright.web.shown import day, job_or_404, shop_of, when

__all__ = ["Told", "router", "told"]

router = APIRouter()
_PAGE = 100
_ROOMS = {"vehicle": later("Vehicle"), "before": later("Test"), "after": later("Retest")}
_SERVICE = {"started": later("begun"), "finished": later("done"), "deviated": later("ended otherwise than written")}


@dataclass(frozen=True)
class Told:
    """One entry in words; `counts` whether it was not taken back, `may` whether this person may take it back."""

    id: str
    day: str
    when: str
    by: str
    what: str
    value: str
    counts: bool
    may: bool


@router.get("/jobs/{job}/history", dependencies=[needs("trainee")])
def history_page(
    request: Request, job: str, page_number: Annotated[int, Query(alias="page", ge=0, le=100_000)] = 0
) -> Response:
    """List the entries of a job, newest first."""
    stored = job_or_404(request, job)
    entries = told(stored, me(request))
    first = page_number * _PAGE
    return page(
        request,
        "history/page.html",
        stored=stored,
        days=[(one, list(group)) for one, group in groupby(entries[first : first + _PAGE], key=lambda e: e.day)],
        number=page_number,
        more=len(entries) > first + _PAGE,
    )


@router.post("/jobs/{job}/undo", dependencies=[needs("trainee")])
def undo(request: Request, job: str, entry: Annotated[str, Form(max_length=64)]) -> Response:
    """Take back one entry, by an entry that says so.

    Raises
    ------
    HTTPException : there is no such entry in this job (404), or this person may not take it back (403)
    """
    stored, person = job_or_404(request, job), me(request)
    found = next((one for one in told(stored, person) if one.id == entry), None)
    if found is None:
        raise HTTPException(404)
    if not found.may:
        raise HTTPException(403, say("This entry cannot be taken back here."))
    shop = shop_of(request)
    shop.enter(job, [new_entry("undid", person.name, shop.clock(), entry=entry)], spoken())
    return RedirectResponse(f"/jobs/{job}/history", 303)


def told(stored: StoredJob, person: Person) -> list[Told]:
    """Return the entries of a job in words, newest first."""
    by_id = {entry.id: entry for entry in stored.entries}
    gone = undone(stored.entries)
    found = []
    for entry in reversed(stored.entries):
        what, value = _words(entry, by_id)
        counts = entry.id not in gone
        may = counts and _may(entry, person)
        found.append(Told(entry.id, day(entry.at), _time(entry.at), entry.by, what, value, counts, may))
    return found


def _may(entry: Entry, person: Person) -> bool:
    """A step of a service is mended on its own page, where its order and the ledger are looked after."""
    if entry.kind in ("opened", "service"):
        return False
    return entry.by == person.name or person.may("technician")


def _time(at: str) -> str:
    words = when(at)
    return words.rpartition(", ")[2] if words != at else ""


def _words(entry: Entry, by_id: dict[str, Entry]) -> tuple[str, str]:
    """What an entry is about, and what it says."""
    data = entry.data
    match entry.kind:
        case "opened":
            return say("Job opened"), ""
        case "wrote":
            return _field(data["field"]), _value(data["field"], data["value"]) or say("emptied")
        case "did":
            title = say(acts()[data["act"]].title) if data["act"] in acts() else data["act"]
            return title, (say("done") if data.get("done", True) else say("tick taken back"))
        case "noted":
            return say("Note"), data["text"]
        case "photo":
            return say("Photograph"), data.get("caption", "")
        case "service":
            return _service(data["event"])
        case "undid":
            what, value = _words(by_id[data["entry"]], by_id) if data["entry"] in by_id else ("", "")
            return say("Taken back"), f"{what}: {value}" if value else what
        case "closed":
            return say("Job closed"), data.get("reason", "")
    return say("Job opened again"), data.get("reason", "")


def _field(name: str) -> str:
    room, _, key = name.partition(".")
    field = (vehicle_fields() if room == "vehicle" else test_fields()).get(key)
    label = labels_of([name]).get(name, name)
    phase = f"{say(field.phase.replace('_', ' ')).capitalize()}, " if field is not None and field.phase else ""
    return f"{say(_ROOMS.get(room, room))} · {phase}{label if not phase else label[:1].lower() + label[1:]}"


def _value(name: str, value: str) -> str:
    room, _, key = name.partition(".")
    field = (vehicle_fields() if room == "vehicle" else test_fields()).get(key)
    chosen = field is not None and (field.kind == "choice" or field.is_observation)
    return say(value.replace("_", " ")) if chosen and value else value


def _service(event: object) -> tuple[str, str]:
    if not isinstance(event, dict):
        return say("Service"), ""
    titles = {step.id: step.title for step in steps()}
    step, kind = str(event.get("step", "")), str(event.get("event", ""))
    title = f"{say('Service')} · {say(titles[step])}" if step in titles else say("Service")
    if kind == "noted":
        value = str(event.get("written", event.get("value", "")))
        return title, f"{say(str(event.get('record', '')).replace('_', ' '))}: {value}"
    words = say(_SERVICE[kind]) if kind in _SERVICE else say(kind)
    reason = str(event.get("reason", ""))
    return title, f"{words}: {reason}" if reason else words
