"""The report of a job of the shop: what its entries say becomes the plain values that the report is set from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, cast

from loopwright.api.service import record_text
from loopwright.language import say, speaking

if TYPE_CHECKING:
    from loopwright.api.ledger import Ledger
    from loopwright.api.service_ledger import Movement as Booked
    from loopwright.api.shop import Shop as JobBook
    from loopwright.api.shop import StoredJob
    from loopwright.report import Deviation, Paper, Person, Photo, Refrigerant, Report, Run, Step
    from loopwright.service.events import Event
    from loopwright.service.procedure import State

__all__ = ["job_pdf", "job_report"]


def job_pdf(book: JobBook, job: str, /, *, paper: Paper = "a4", language: str = "en", **about: Any) -> bytes:
    """Return the report of a job as a PDF; parameters as for `job_report`.

    Raises
    ------
    InputError : there is no such job
    ValueError : a paper that is not set
    """
    from loopwright.report import pdf

    return pdf(job_report(book, job, paper=paper, language=language, **about))


def job_report(
    book: JobBook,
    job: str,
    /,
    *,
    paper: Paper = "a4",
    language: str = "en",
    zone: tzinfo | None = None,
    ledger: Ledger | None = None,
    **about: Any,
) -> Report:
    """Return what the report of a job says.

    A test that was changed since it was judged, or judged in another language, is judged anew, so that the report
    never shows a judgement beside readings that it does not rest on.

    Parameters
    ----------
    book : the shop's jobs
    job : its id
    paper : "a4" or "letter"
    language : in which everything is said
    zone : the shop's time zone; the machine's without it
    ledger : the shop's, for where the refrigerant went; without it only what the service wrote down is told
    about : any field of `Report`, instead of what the job says: `shop`, `technician`, `refrigerant`, `made`, ...

    Raises
    ------
    InputError : there is no such job
    """
    from loopwright.report import Report

    stored = book.job(job)
    state = stored.state
    with speaking(language):
        service = _service(stored)
        said: dict[str, Any] = {
            "made": _local(book.clock(), zone),
            "technician": _technician(stored, service, ledger),
            "job": str(stored.number),
            "vehicle": state.vehicle_value("label"),
            **{key: state.vehicle_value(key) for key in ("customer", "plate", "vin", "odometer")},
            "runs": _runs(book, stored, language, zone),
            "steps": _steps(service, zone),
            "deviations": _deviations(service, zone),
            "refrigerant": _booked(ledger, stored, zone) or _refrigerant(service, zone),
            "notes": _notes(stored),
            "photos": _photos(book, stored),
        }
    return Report(**{**said, "paper": paper, "language": language, **about})


def _local(at: str, zone: tzinfo | None) -> datetime:
    return datetime.fromisoformat(at).astimezone(zone)


def _moment(at: float, zone: tzinfo | None) -> datetime:
    return datetime.fromtimestamp(at).astimezone(zone)


def _runs(book: JobBook, stored: StoredJob, language: str, zone: tzinfo | None) -> tuple[Run, ...]:
    """The tests that can be judged; one before, with no service after it, stands alone."""
    from loopwright.api.shop import TESTS

    found = [run for test in TESTS if (run := _run(book, stored, test, language, zone)) is not None]
    if len(found) == 1 and found[0].moment == "before" and not stored.state.service:
        return (replace(found[0], moment="alone"),)
    return tuple(found)


def _run(book: JobBook, stored: StoredJob, test: str, language: str, zone: tzinfo | None) -> Run | None:
    from loopwright.diagnosis import judge
    from loopwright.report import Run

    state = stored.state.tests[test]
    view = book.view(stored, test, language)
    if not state.written or view.test is None or view.lacking:
        return None
    judgement = view.judgement if view.fresh and view.judgement is not None else judge(view.test)
    began = _local(state.began, zone) if state.began else None
    moment = cast(Literal["before", "after"], test)
    return Run(view.test, judgement, moment, began, _acts(stored, test, zone))


def _acts(stored: StoredJob, test: str, zone: tzinfo | None) -> tuple[Step, ...]:
    """The acts in the order in which they were done; one done too early says before what, and why."""
    from loopwright.api.shop import acts
    from loopwright.report import Step

    found = []
    for key, done in sorted(stored.state.tests[test].done.items(), key=lambda pair: pair[1].at):
        early = [say("Done before: {act}.", act=say(acts()[one].title)) for one in done.early]
        remark = " ".join([*early, done.reason]).strip()
        found.append(Step(say(acts()[key].title), remark, done.by, _local(done.at, zone)))
    return tuple(found)


class _Service(NamedTuple):
    state: State
    events: Sequence[Event]


def _service(stored: StoredJob) -> _Service | None:
    """Where the service stands, and its events; None where none was begun."""
    from loopwright.api.service_job import replay
    from loopwright.service.procedure import derive

    events = replay(stored.state.service).events
    return _Service(derive(events), events) if events else None


def _steps(service: _Service | None, zone: tzinfo | None) -> tuple[Step, ...]:
    from loopwright.report import Step
    from loopwright.service.events import Finished

    if service is None:
        return ()
    ended = {event.step: event for event in service.events if isinstance(event, Finished)}  # the last one counts
    air = service.state.job.atmosphere
    return tuple(
        Step(say(s.step.title), _records(s.records, air), ended[s.step.id].by, _moment(ended[s.step.id].at, zone))
        for s in service.state.steps
        if s.status == "done" and s.step.id in ended
    )


def _records(written: Mapping[str, float | str], atmosphere: float) -> str:
    """What a step wrote down, in the unit in which such a value is usually read."""
    return ", ".join(
        f"{say(name.replace('_', ' '))} {record_text(name, value, atmosphere)}" for name, value in written.items()
    )


def _deviations(service: _Service | None, zone: tzinfo | None) -> tuple[Deviation, ...]:
    from loopwright.report import Deviation

    if service is None:
        return ()
    titles = {s.step.id: say(s.step.title) for s in service.state.steps}
    return tuple(
        Deviation(titles[d.step], d.reason, d.by, _moment(d.at, zone))
        for d in service.state.deviations
        if d.step in titles
    )


def _refrigerant(service: _Service | None, zone: tzinfo | None) -> Refrigerant:
    """What the service wrote down as taken out and put in; the shop's books say more, where they are kept."""
    from loopwright.report import Movement, Refrigerant
    from loopwright.service.events import Noted

    if service is None:
        return Refrigerant()
    standing = {name: value for s in service.state.steps for name, value in s.records.items()}
    noted = {event.record: event for event in service.events if isinstance(event, Noted)}
    ways: tuple[tuple[str, str, Literal["out", "in"]], ...] = (
        ("recovered_mass", say("Recovered"), "out"),
        ("charged_mass", say("Charged"), "in"),
    )
    found = [
        Movement(what, mass, 0.0, way, _moment(noted[record].at, zone))
        for record, what, way in ways
        if isinstance(mass := standing.get(record), float)
    ]
    return Refrigerant(tuple(found))


def _technician(stored: StoredJob, service: _Service | None, ledger: Ledger | None) -> Person:
    """Who closed the service, with the certificate noted then; else who opened the job, as the books know them."""
    from loopwright.report import Person
    from loopwright.service.events import Noted

    noted = [e for e in service.events if isinstance(e, Noted) and e.record == "certificate"] if service else []
    if noted:
        return Person(noted[-1].by, str(noted[-1].value))
    name = stored.state.opened_by
    known = ledger.operators().get(name) if ledger is not None else None
    return Person(name, " ".join(part for part in (known.programme, known.certificate) if part) if known else "")


def _booked(ledger: Ledger | None, stored: StoredJob, zone: tzinfo | None) -> Refrigerant | None:
    """What the books say of this job's refrigerant; None where nothing was booked."""
    if ledger is None:
        return None
    from loopwright.api.service_ledger import movements_of, vehicle_account
    from loopwright.report import Movement, Refrigerant

    vehicle = vehicle_account(stored.vehicle)
    found = [one for one in movements_of(ledger, stored) if not one.reversed]
    if not found:
        return None
    names = {vehicle: say("the vehicle"), "atmosphere": say("the air"), "outside": say("what it came with")}
    moved = [
        Movement(
            say("{source} to {target}", source=names.get(m.source, m.source), target=names.get(m.target, m.target)),
            m.mass_mg / 1e6,
            m.uncertainty_mg / 1e6,
            "other"
            if m.source == "outside"
            else "out"
            if m.source == vehicle
            else "in"
            if m.target == vehicle
            else "other",
            _local(m.at, zone),
        )
        for m in found
    ]
    return Refrigerant(tuple(moved), _held(ledger, vehicle))


def _direction(moved: Booked, vehicle: str) -> Literal["out", "in", "other"]:
    """As seen from the vehicle; what it came with was in it already."""
    if moved.source == vehicle:
        return "out"
    return "in" if moved.target == vehicle and moved.source != "outside" else "other"


def _held(ledger: Ledger, vehicle: str) -> str:
    """What the vehicle holds by the books."""
    from loopwright.report.words import grams

    said = [f"{grams(b.mass_mg / 1e6, b.uncertainty_mg / 1e6)} {name}" for name, b in ledger.holdings(vehicle).items()]
    return say("By the books the vehicle now holds {masses}.", masses=", ".join(said)) if said else ""


def _notes(stored: StoredJob) -> tuple[str, ...]:
    complaint = stored.state.vehicle_value("complaint")
    first = [say("What the customer says: {words}", words=complaint)] if complaint else []
    return (*first, *(note.text for note in stored.state.notes))


def _photos(book: JobBook, stored: StoredJob) -> tuple[Photo, ...]:
    from loopwright.report import Photo

    return tuple(Photo(book.records.photo(photo.photo)[1], photo.caption) for photo in stored.state.photos)
