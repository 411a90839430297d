"""The HTTP API of the records: jobs, their entries and judgements, photographs, vehicles, the export."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, HTTPException, Path, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response

from loopwright.api.people import Person
from loopwright.api.shop import TESTS, Entry, JobRow, Shop, StoredJob, VehicleRow
from loopwright.api.wire import to_wire
from loopwright.errors import InputError
from loopwright.language import say, spoken
from loopwright.web.http_api import refusals
from loopwright.web.pages.export import handed_over
from loopwright.web.pages.photos import show_photo, taken
from loopwright.web.security import me, needs
from loopwright.web.shown import job_or_404, shop_of

__all__ = ["router"]

router = APIRouter(prefix="/api/v1", tags=["records"])
_PAGE = 50
_MOST_AT_ONCE = 200
Verdict = Literal["performs", "marginal", "does_not_perform", "cannot_say", ""]
Test = Literal["before", "after"]
JobId = Annotated[str, Path(max_length=64)]
Search = Annotated[str, Query(max_length=100, description="Every word must occur, in any order.")]
PageNumber = Annotated[int, Query(ge=0, le=100_000, description="Fifty a page, from 0.")]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid")


class JobLine(_Model):
    """One job in a list; a verdict is empty where nothing was judged."""

    id: str
    number: int
    vehicle: str
    title: str
    closed: bool
    opened: str
    changed: str
    verdict_before: Verdict
    verdict_after: Verdict


class JobList(_Model):
    """A page of jobs, newest change first."""

    jobs: list[JobLine]
    more: bool


class Value(_Model):
    """What stands in a field now, as it was typed."""

    value: str
    by: str
    at: str
    source: str


class Done(_Model):
    """An act that was done; `early` names acts that should have come first, `reason` why not."""

    by: str
    at: str
    reason: str
    early: list[str]


class TestNow(_Model):
    """One test: values by field, acts done, what is wrong by field, what is lacking, and where its judgement stands."""

    __test__ = False  # the name is the trade's; keep pytest from collecting it

    values: dict[str, Value]
    acts: dict[str, Done]
    problems: dict[str, str]
    lacking: list[str]
    verdict: Verdict
    fresh: bool = Field(description="The verdict is that of what is written now.")


class Note(_Model):
    """Free words."""

    text: str
    by: str
    at: str


class Photo(_Model):
    """A photograph: its name, under /api/v1/photos."""

    photo: str
    caption: str
    by: str
    at: str


class JobNow(_Model):
    """A job as its entries tell it; `entries` counts them."""

    id: str
    number: int
    vehicle_id: str
    title: str
    closed: bool
    opened: str
    entries: int
    vehicle: dict[str, Value]
    tests: dict[str, TestNow]
    service: list[dict[str, Any]]
    notes: list[Note]
    photos: list[Photo]


class EntryIn(_Model):
    """One fact: `id` is made by the sender, so that it may send again; `at` is when it happened (RFC 3339)."""

    id: str = Field(pattern=r"^[A-Za-z0-9-]{8,64}$")
    at: str = Field(max_length=64)
    kind: str = Field(max_length=64, description="wrote, did, noted, photo, service, undid, closed, reopened")
    data: dict[str, Any]


class EntryOut(EntryIn):
    """One entry as kept, with who made it."""

    by: str


class Entries(_Model):
    """Entries to append, all or none; one that is there already is passed over."""

    entries: list[EntryIn] = Field(max_length=_MOST_AT_ONCE)


class EntryList(_Model):
    """The entries of a job, in the order of recording."""

    entries: list[EntryOut]


class NewJob(_Model):
    """A job to open: for a vehicle that is known, under an id of the sender; both may be left out."""

    vehicle: str | None = Field(None, max_length=64, pattern=r"^[A-Za-z0-9-]+$")
    id: str | None = Field(None, pattern=r"^[A-Za-z0-9-]{8,64}$")


class Kept(_Model):
    """What was kept: the job, and how many entries it has now."""

    job: str
    entries: int


class PhotoKept(_Model):
    """The name of a photograph."""

    photo: str


class Vehicle(_Model):
    """A vehicle: what the last job wrote about it, by field."""

    id: str
    title: str
    card: dict[str, str]
    changed: str


class VehicleList(_Model):
    """A page of vehicles, newest change first."""

    vehicles: list[Vehicle]
    more: bool


class VehicleHistory(_Model):
    """A vehicle and its newest jobs."""

    vehicle: Vehicle
    jobs: list[JobLine]


@router.get("/jobs", dependencies=[needs("trainee")], responses=refusals(401, 422))
def list_jobs(request: Request, search: Search = "", page: PageNumber = 0) -> JobList:
    """List jobs, newest change first; `search` looks at number, vehicle, plate, VIN, customer and telephone."""
    rows = shop_of(request).records.jobs(search, page)
    return JobList(jobs=[_line(row) for row in rows], more=len(rows) == _PAGE)


@router.post("/jobs", dependencies=[needs("trainee")], status_code=201, responses=refusals(401, 403, 404, 422))
def open_job(request: Request, response: Response, new: NewJob) -> JobNow:
    """Open a job. Asked again with the same id, it is opened once."""
    shop, person = shop_of(request), me(request)
    job = shop.open_job(person.name, new.vehicle, new.id)
    response.headers["Location"] = f"/api/v1/jobs/{job}"
    return _job(shop, shop.job(job))


@router.get("/jobs/{job}", dependencies=[needs("trainee")], responses=refusals(401, 404))
def get_job(request: Request, job: JobId) -> JobNow:
    """Return a job as it stands."""
    return _job(shop_of(request), job_or_404(request, job))


@router.get("/jobs/{job}/entries", dependencies=[needs("trainee")], responses=refusals(401, 404))
def list_entries(request: Request, job: JobId) -> EntryList:
    """Return everything that was entered, as it was entered."""
    found = [_entry(entry) for entry in job_or_404(request, job).entries]
    return EntryList(entries=found)


@router.post("/jobs/{job}/entries", dependencies=[needs("trainee")], responses=refusals(401, 403, 404, 422))
def append_entries(request: Request, job: JobId, sent: Entries) -> Kept:
    """Append entries; its tests are judged anew where they changed. This is where instruments send readings, too."""
    person = me(request)
    job_or_404(request, job)
    made = [Entry(e.id, e.at, person.name, e.kind, e.data) for e in sent.entries]  # type: ignore[arg-type]  # checked
    stored = shop_of(request).enter(job, made, spoken())
    return Kept(job=job, entries=len(stored.entries))


@router.get("/jobs/{job}/tests/{test}/judgement", dependencies=[needs("trainee")], responses=refusals(401, 404))
def get_judgement(request: Request, job: JobId, test: Test) -> Response:
    """Return the newest judgement of a test in its published form; `/api/v1/schema/judgement` describes it.

    Raises
    ------
    HTTPException : none was made yet (404); `tests` of the job tells what is lacking
    """
    view = shop_of(request).view(job_or_404(request, job), test, spoken())
    if view.judgement is None:
        raise HTTPException(404, say("This test was not judged yet."))
    return JSONResponse(to_wire(view.judgement))


@router.post(
    "/jobs/{job}/photos",
    dependencies=[needs("trainee")],
    status_code=201,
    responses=refusals(401, 403, 404, 413, 422),
    openapi_extra={"requestBody": {"content": {"image/*": {"schema": {"type": "string", "format": "binary"}}}}},
)
async def add_photo(request: Request, job: JobId, caption: Annotated[str, Query(max_length=200)] = "") -> PhotoKept:
    """Add a photograph (JPEG, PNG or WebP, at most 10 MB): the body itself. It is kept as JPEG without metadata."""
    content = await request.body()
    return PhotoKept(photo=await run_in_threadpool(taken, shop_of(request), request, job, content, caption))


@router.get(
    "/photos/{name}",
    dependencies=[needs("trainee")],
    response_class=Response,
    responses={200: {"content": {"image/jpeg": {}}}, **refusals(401, 404)},
)
def get_photo(request: Request, name: Annotated[str, Path(max_length=64)]) -> Response:
    """Return a photograph."""
    return show_photo(request, name)


@router.get("/vehicles", dependencies=[needs("trainee")], responses=refusals(401, 422))
def list_vehicles(request: Request, search: Search = "", page: PageNumber = 0) -> VehicleList:
    """List vehicles, newest change first."""
    rows = shop_of(request).records.vehicles(search, page)
    return VehicleList(vehicles=[_vehicle(row) for row in rows], more=len(rows) == _PAGE)


@router.get("/vehicles/{vehicle}", dependencies=[needs("trainee")], responses=refusals(401, 404))
def get_vehicle(request: Request, vehicle: Annotated[str, Path(max_length=64)]) -> VehicleHistory:
    """Return a vehicle and its newest jobs.

    Raises
    ------
    HTTPException : there is none of that id (404)
    """
    records = shop_of(request).records
    try:
        found = records.vehicle(vehicle)
    except InputError as error:
        raise HTTPException(404, error.problems[0].says) from error
    return VehicleHistory(vehicle=_vehicle(found), jobs=[_line(row) for row in records.jobs(vehicle=vehicle)])


@router.post(
    "/export",
    dependencies=[needs("owner")],
    response_class=Response,
    responses={200: {"content": {"application/zip": {}}}, **refusals(401, 403, 422)},
)
def take_export(
    request: Request, what: Annotated[Literal["csv", "json", "parquet", "backup"], Body(embed=True)]
) -> Response:
    """Return everything as one zip file: an export for other programs, or a backup to restore from."""
    person: Person = me(request)
    return handed_over(shop_of(request), request.app.state.people, person.id, what)


def _line(row: JobRow) -> JobLine:
    plain = row._asdict()
    del plain["card"]
    return JobLine(**plain)


def _vehicle(row: VehicleRow) -> Vehicle:
    return Vehicle(**row._asdict())


def _entry(entry: Entry) -> EntryOut:
    # As kept, so without the checks that a new one must pass.
    return EntryOut.model_construct(id=entry.id, at=entry.at, kind=entry.kind, data=dict(entry.data), by=entry.by)


def _job(shop: Shop, stored: StoredJob) -> JobNow:
    state = stored.state
    return JobNow(
        id=stored.id,
        number=stored.number,
        vehicle_id=stored.vehicle,
        title=state.title,
        closed=state.closed,
        opened=state.opened_at,
        entries=len(stored.entries),
        vehicle={key: _value(written) for key, written in state.vehicle.items()},
        tests={test: _test(shop, stored, test) for test in TESTS},
        service=[dict(event) for event in state.service],
        notes=[Note(text=n.text, by=n.by, at=n.at) for n in state.notes],
        photos=[Photo(photo=p.photo, caption=p.caption, by=p.by, at=p.at) for p in state.photos],
    )


def _value(written: Any) -> Value:
    return Value(value=written.value, by=written.by, at=written.at, source=written.source)


def _test(shop: Shop, stored: StoredJob, test: str) -> TestNow:
    state, view = stored.state.tests[test], shop.view(stored, test, spoken())
    return TestNow(
        values={key: _value(written) for key, written in state.written.items()},
        acts={key: Done(by=d.by, at=d.at, reason=d.reason, early=list(d.early)) for key, d in state.done.items()},
        problems={field: problem.says for field, problem in view.problems.items()},
        lacking=list(view.lacking),
        verdict=view.judgement.verdict if view.judgement else "",
        fresh=view.fresh,
    )
