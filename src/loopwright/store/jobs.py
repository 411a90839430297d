"""Jobs in a database: entering in one transaction, and reading lists, jobs, vehicles, judgements and photographs."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple
from uuid import uuid4

import sqlalchemy as sa
from sqlalchemy import Connection, Engine

from loopwright.errors import AbsentError, Problem
from loopwright.job import Entry, JobState, check, derive
from loopwright.language import say
from loopwright.store.engine import connect, reading, writing
from loopwright.store.journal import now
from loopwright.store.migrate import migrate
from loopwright.store.shop_tables import SHOP_ENTRY, SHOP_JOB, SHOP_JUDGEMENT, SHOP_PHOTO, SHOP_VEHICLE

__all__ = ["JobRow", "Jobs", "KeptJudgement", "StoredJob", "VehicleRow"]

PAGE = 50  # rows of a list
_OWN = ("label", "plate", "vin", "customer", "phone")  # what a job is searched by


class StoredJob(NamedTuple):
    """A job: its number, its vehicle, its entries in the order of recording, and what they add up to."""

    id: str
    number: int
    vehicle: str
    entries: tuple[Entry, ...]
    state: JobState


class JobRow(NamedTuple):
    """One line of the list of jobs; verdicts are empty where nothing was judged; `card` is the vehicle's."""

    id: str
    number: int
    vehicle: str
    title: str
    closed: bool
    opened: str
    changed: str
    verdict_before: str
    verdict_after: str
    card: dict[str, str]


class VehicleRow(NamedTuple):
    """One vehicle: its name, and what its last job wrote about it by field."""

    id: str
    title: str
    card: dict[str, str]
    changed: str


class KeptJudgement(NamedTuple):
    """A judgement as kept: `sheet` is the hash of the sheet it was made from, `body` its text."""

    engine: str
    sheet: str
    verdict: str
    made: str
    body: str


_JOB_ROW = sa.select(
    SHOP_JOB.c.id,
    SHOP_JOB.c.number,
    SHOP_JOB.c.vehicle,
    SHOP_JOB.c.title,
    SHOP_JOB.c.closed,
    SHOP_JOB.c.opened,
    SHOP_JOB.c.changed,
    SHOP_JOB.c.verdict_before,
    SHOP_JOB.c.verdict_after,
    SHOP_VEHICLE.c.card,
).select_from(SHOP_JOB.outerjoin(SHOP_VEHICLE, SHOP_VEHICLE.c.id == SHOP_JOB.c.vehicle))
_ENTRIES = sa.select(SHOP_ENTRY.c.id, SHOP_ENTRY.c.at, SHOP_ENTRY.c.by, SHOP_ENTRY.c.kind, SHOP_ENTRY.c.data)


class Jobs:
    """The jobs of one shop. `clock` gives the moment at which an entry is recorded."""

    def __init__(self, where: str | Path | Engine, clock: Callable[[], str] = now) -> None:
        """Open the database, and bring its tables up to date.

        Raises
        ------
        InputError : `where` is neither a file nor a URL of SQLite or PostgreSQL
        """
        self.engine = where if isinstance(where, Engine) else connect(where)
        self._clock = clock
        migrate(self.engine)

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    def open(self, by: str, vehicle: str | None = None, job: str | None = None, at: str | None = None) -> str:
        """Open a job, for a vehicle that is known already or a new one; return its id.

        A job opened twice under the same id is opened once, so that a phone may ask again.

        Raises
        ------
        AbsentError : there is no such vehicle
        """
        recorded = self._clock()
        name = job or str(uuid4())
        with writing(self.engine, SHOP_ENTRY) as connection:
            if connection.execute(sa.select(SHOP_JOB.c.id).where(SHOP_JOB.c.id == name)).first():
                return name
            card = _card(connection, vehicle) if vehicle else {}
            owner = vehicle or str(uuid4())
            number = connection.execute(sa.select(sa.func.coalesce(sa.func.max(SHOP_JOB.c.number), 0))).scalar_one() + 1
            connection.execute(SHOP_JOB.insert(), [_empty(name, number, owner, recorded)])
            entries = [Entry(str(uuid4()), at or recorded, by, "opened", {"vehicle": owner})]
            entries += [
                Entry(str(uuid4()), at or recorded, by, "wrote", {"field": f"vehicle.{key}", "value": value})
                for key, value in card.items()
                if key not in ("odometer", "complaint")  # what changes from visit to visit is asked anew
            ]
            _insert(connection, name, entries, recorded)
            _index(connection, name, recorded)
        return name

    def enter(self, job: str, entries: Sequence[Entry]) -> StoredJob:
        """Append entries to a job, all or none; one that is there already (by its id) is passed over.

        Raises
        ------
        InputError : an entry cannot be kept
        AbsentError : there is no such job
        """
        for entry in entries:
            check(entry)
        recorded = self._clock()
        with writing(self.engine, SHOP_ENTRY) as connection:
            _known(connection, job)
            ids = [entry.id for entry in entries]
            query = sa.select(SHOP_ENTRY.c.id).where(SHOP_ENTRY.c.id.in_(ids))
            there = {id_ for (id_,) in connection.execute(query)}
            fresh = {entry.id: entry for entry in entries if entry.id not in there}
            if fresh:
                _insert(connection, job, list(fresh.values()), recorded)
                _index(connection, job, recorded)
            return _stored(connection, job)

    def job(self, job: str) -> StoredJob:
        """Return one job.

        Raises
        ------
        AbsentError : there is none of that id
        """
        with reading(self.engine) as connection:
            return _stored(connection, job)

    def jobs(self, search: str = "", page: int = 0, vehicle: str = "", several: int = PAGE) -> list[JobRow]:
        """Return the jobs that hold every word of `search`, newest change first, so many a page.

        A vehicle's jobs come newest visit first, whatever was changed in them later.
        """
        order = [SHOP_JOB.c.changed.desc(), SHOP_JOB.c.number.desc()]
        chosen = _searched(sa.select(SHOP_JOB.c.id), SHOP_JOB.c.search, search)
        if vehicle:
            order = order[1:]
            chosen = chosen.where(SHOP_JOB.c.vehicle == vehicle)
        # The page is cut out first, so that vehicles are looked up for its lines alone.
        ids = chosen.order_by(*order).limit(several).offset(several * page).subquery()
        query = _JOB_ROW.join(ids, ids.c.id == SHOP_JOB.c.id).order_by(*order)
        with reading(self.engine) as connection:
            return [_job_row(row) for row in connection.execute(query)]

    def job_by_number(self, number: int) -> JobRow | None:
        """Return the job of a number, if there is one."""
        with reading(self.engine) as connection:
            row = connection.execute(_JOB_ROW.where(SHOP_JOB.c.number == number)).first()
        return None if row is None else _job_row(row)

    def vehicles(self, search: str = "", page: int = 0) -> list[VehicleRow]:
        """Return the vehicles that hold every word of `search`, newest change first, fifty a page."""
        query = _searched(sa.select(SHOP_VEHICLE), SHOP_VEHICLE.c.search, search)
        query = query.order_by(SHOP_VEHICLE.c.changed.desc()).limit(PAGE).offset(PAGE * page)
        with reading(self.engine) as connection:
            return [VehicleRow(r.id, r.title, json.loads(r.card), r.changed) for r in connection.execute(query)]

    def vehicle(self, vehicle: str) -> VehicleRow:
        """Return one vehicle.

        Raises
        ------
        AbsentError : there is none of that id
        """
        with reading(self.engine) as connection:
            row = connection.execute(sa.select(SHOP_VEHICLE).where(SHOP_VEHICLE.c.id == vehicle)).first()
        if row is None:
            raise AbsentError(
                [Problem("vehicle", vehicle, say("a vehicle of this shop"), say("There is no such vehicle."))]
            )
        return VehicleRow(row.id, row.title, json.loads(row.card), row.changed)

    def ids(self) -> Iterator[str]:
        """Return the id of every job, by number."""
        with reading(self.engine) as connection:
            rows = connection.execute(sa.select(SHOP_JOB.c.id).order_by(SHOP_JOB.c.number)).all()
        return iter([id_ for (id_,) in rows])

    def keep_judgement(self, job: str, test: str, language: str, kept: KeptJudgement) -> None:
        """Keep a judgement; of one test, language and engine version the newest counts."""
        key = {"job": job, "test": test, "language": language, "engine": kept.engine}
        row = {**key, "sheet": kept.sheet, "verdict": kept.verdict, "made": kept.made, "body": kept.body}
        with writing(self.engine, SHOP_ENTRY) as connection:
            same = sa.and_(*(SHOP_JUDGEMENT.c[name] == value for name, value in key.items()))
            connection.execute(SHOP_JUDGEMENT.delete().where(same))
            connection.execute(SHOP_JUDGEMENT.insert(), [row])
            connection.execute(SHOP_JOB.update().where(SHOP_JOB.c.id == job).values({f"verdict_{test}": kept.verdict}))

    def judgement(self, job: str, test: str, language: str | None = None) -> KeptJudgement | None:
        """Return the newest judgement kept of a test in a language, or in any where none is asked for."""
        with reading(self.engine) as connection:
            row = connection.execute(_judged(job, test, language).limit(1)).first()
        return None if row is None else KeptJudgement(*row)

    def judgements(self, job: str, test: str, language: str | None = None) -> list[KeptJudgement]:
        """Return the judgements kept of a test in a language, one an engine version, newest first."""
        with reading(self.engine) as connection:
            return [KeptJudgement(*row) for row in connection.execute(_judged(job, test, language))]

    def add_photo(self, kind: str, content: bytes) -> str:
        """Keep a photograph's bytes; return their SHA-256 hash, by which it is named."""
        name = hashlib.sha256(content).hexdigest()
        row = {"hash": name, "kind": kind, "made": self._clock(), "bytes": content}
        with writing(self.engine, SHOP_ENTRY) as connection:
            if not connection.execute(sa.select(SHOP_PHOTO.c.hash).where(SHOP_PHOTO.c.hash == name)).first():
                connection.execute(SHOP_PHOTO.insert(), [row])
        return name

    def photo(self, name: str) -> tuple[str, bytes]:
        """Return a photograph's media type and bytes.

        Raises
        ------
        AbsentError : there is none of that hash
        """
        query = sa.select(SHOP_PHOTO.c.kind, SHOP_PHOTO.c.bytes).where(SHOP_PHOTO.c.hash == name)
        with reading(self.engine) as connection:
            row = connection.execute(query).first()
        if row is None:
            raise AbsentError(
                [Problem("photo", name, say("a photograph of this shop"), say("There is no such photograph."))]
            )
        return row.kind, row.bytes

    def rebuild(self) -> None:
        """Derive the lists of jobs and vehicles anew from the entries; numbers of jobs stay."""
        with writing(self.engine, SHOP_ENTRY) as connection:
            for job, changed in connection.execute(sa.select(SHOP_JOB.c.id, SHOP_JOB.c.changed)).all():
                _index(connection, job, changed)


def _empty(job: str, number: int, vehicle: str, moment: str) -> dict[str, Any]:
    words = dict.fromkeys(("title", "search", "verdict_before", "verdict_after"), "")
    return {"id": job, "number": number, "vehicle": vehicle, "closed": 0, "opened": moment, "changed": moment, **words}


def _insert(connection: Connection, job: str, entries: Iterable[Entry], recorded: str) -> None:
    last = connection.execute(sa.select(sa.func.coalesce(sa.func.max(SHOP_ENTRY.c.seq), 0))).scalar_one()
    rows = [
        {
            "seq": last + number,
            "id": entry.id,
            "job": job,
            "at": entry.at,
            "recorded": recorded,
            "by": entry.by,
            "kind": entry.kind,
            "data": json.dumps(entry.data, ensure_ascii=False, sort_keys=True),
        }
        for number, entry in enumerate(entries, 1)
    ]
    connection.execute(SHOP_ENTRY.insert(), rows)


def _index(connection: Connection, job: str, moment: str) -> None:
    """Bring the lists up to what the job's entries say now."""
    stored = _stored(connection, job)
    card = {key: written.value for key, written in stored.state.vehicle.items()}
    words = " ".join([str(stored.number), *(card.get(key, "") for key in _OWN)]).casefold()
    title, closed = stored.state.title, int(stored.state.closed)
    values = {"title": title, "search": words, "closed": closed, "changed": moment}
    connection.execute(SHOP_JOB.update().where(SHOP_JOB.c.id == job).values(values))
    row = {
        "title": title,
        "search": " ".join(card.get(key, "") for key in _OWN).casefold(),
        "card": json.dumps(card, ensure_ascii=False, sort_keys=True),
        "changed": moment,
    }
    same = SHOP_VEHICLE.c.id == stored.vehicle
    if not connection.execute(SHOP_VEHICLE.update().where(same).values(row)).rowcount:
        connection.execute(SHOP_VEHICLE.insert(), [{"id": stored.vehicle, **row}])


def _known(connection: Connection, job: str) -> Any:
    query = sa.select(SHOP_JOB.c.number, SHOP_JOB.c.vehicle).where(SHOP_JOB.c.id == job)
    row = connection.execute(query).first()
    if row is None:
        raise AbsentError([Problem("job", job, say("a job of this shop"), say("There is no such job."))])
    return row


def _stored(connection: Connection, job: str) -> StoredJob:
    row = _known(connection, job)
    rows = connection.execute(_ENTRIES.where(SHOP_ENTRY.c.job == job).order_by(SHOP_ENTRY.c.seq))
    entries = tuple(Entry(r.id, r.at, r.by, r.kind, json.loads(r.data)) for r in rows)
    return StoredJob(job, row.number, row.vehicle, entries, derive(entries))


def _card(connection: Connection, vehicle: str) -> dict[str, str]:
    row = connection.execute(sa.select(SHOP_VEHICLE.c.card).where(SHOP_VEHICLE.c.id == vehicle)).first()
    if row is None:
        raise AbsentError(
            [Problem("vehicle", vehicle, say("a vehicle of this shop"), say("There is no such vehicle."))]
        )
    found: dict[str, str] = json.loads(row.card)
    return found


def _judged(job: str, test: str, language: str | None) -> sa.Select[Any]:
    table = SHOP_JUDGEMENT
    columns = (table.c.engine, table.c.sheet, table.c.verdict, table.c.made, table.c.body)
    query = sa.select(*columns).where(table.c.job == job, table.c.test == test)
    if language is not None:
        query = query.where(table.c.language == language)
    return query.order_by(table.c.made.desc())


def _searched(query: sa.Select[Any], column: sa.Column[str], search: str) -> sa.Select[Any]:
    for word in search.casefold().split()[:8]:
        query = query.where(column.contains(word, autoescape=True))
    return query


def _job_row(row: Any) -> JobRow:
    return JobRow(*row)._replace(closed=bool(row.closed), card=json.loads(row.card or "{}"))
