"""The shop for the faces: jobs, their tests judged as they are typed, vehicles, photographs.

`Shop` is the only door: pages, the HTTP API and the command line all go through it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from loopwright.api.judging import Judging, Key, decode, sheet_hash
from loopwright.errors import InputError, Problem
from loopwright.job import (
    TESTS,
    Entry,
    Field,
    JobState,
    Sheet,
    acts,
    field_of_problem,
    new_entry,
    sheet_of,
    stages,
    test_fields,
    undone,
    vehicle_fields,
)
from loopwright.language import say, speaking
from loopwright.service.cautions import cautions
from loopwright.store import now
from loopwright.store.jobs import JobRow, Jobs, KeptJudgement, StoredJob, VehicleRow

if TYPE_CHECKING:
    from loopwright.diagnosis.judgement import Judgement
    from loopwright.readings import Test

__all__ = [
    "TESTS",
    "Entry",
    "Field",
    "JobRow",
    "JobState",
    "Shop",
    "StoredJob",
    "TestView",
    "VehicleRow",
    "act_cautions",
    "acts",
    "judged_in",
    "new_entry",
    "readable",
    "stages",
    "test_fields",
    "undone",
    "vehicle_fields",
]


def act_cautions(act: str) -> tuple[str, ...]:
    """Return the cautions that stand at an act, in the language spoken."""
    return tuple(say(cautions()[key].says) for key in acts()[act].cautions)


def judged_in(language: str) -> str:
    """Return the language that a judgement is said and kept in: English is the same in every region.

    >>> judged_in("en-US"), judged_in("es-MX")
    ('en', 'es-MX')
    """
    return "en" if language.partition("-")[0] == "en" else language


@dataclass(frozen=True)
class TestView:
    """One test as a page shows it.

    `problems` are what is wrong in the fields, by field ("before.running.low_side.pressure"); `lacking` what must be
    written before anything can be judged; `test` is what could be read, `judgement` the newest there is, `fresh`
    whether it was made from what is written now, `made` when.
    """

    __test__ = False  # the name is the trade's; keep pytest from collecting it

    sheet: Sheet
    problems: dict[str, Problem]
    lacking: tuple[str, ...]
    test: Test | None
    judgement: Judgement | None
    fresh: bool
    made: str = ""


class Shop:
    """One shop in one database: a file, or the URL of a PostgreSQL database.

    >>> import tempfile, pathlib
    >>> folder = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
    >>> shop = Shop(pathlib.Path(folder.name) / "shop.sqlite")
    >>> job = shop.open_job("Ann")
    >>> stored = shop.write(job, "Ann", {"vehicle.refrigerant": "R-134a", "before.air_temperature": "31 °C",
    ...     "before.running.low_side.pressure": "lots"})
    >>> stored.number, shop.view(stored, "before").problems["before.running.low_side.pressure"].says
    (1, 'Not a number.')
    >>> shop.close(); folder.cleanup()
    """

    def __init__(self, where: str | Path, clock: Callable[[], str] | None = None) -> None:
        """Open it, making the database where there is none; `clock` gives the present moment (RFC 3339, UTC).

        Raises
        ------
        InputError : `where` is neither a file nor a URL of SQLite or PostgreSQL
        """
        self.clock = clock or now
        self.records = Jobs(where, clock=self.clock)
        self.engine = self.records.engine
        self.changed: Callable[[str], None] = lambda job: None
        """Called with a job's id whenever it changed or was judged; the web room listens here."""
        self._judging = Judging(self._judged, self._not_judged)

    def close(self) -> None:
        """Stop judging and let go of the database."""
        self._judging.close()
        self.records.close()

    def warm(self) -> None:
        """Load the engine in the background, and here what reads a sheet and draws its picture."""
        from loopwright.api.warm import warm_server

        self._judging.warm()
        warm_server()

    def open_job(self, by: str, vehicle: str | None = None, job: str | None = None) -> str:
        """Open a job; return its id. `vehicle` is one that is known already.

        Raises
        ------
        InputError : there is no such vehicle
        """
        return self.records.open(by, vehicle, job)

    def enter(self, job: str, entries: Sequence[Entry], language: str = "en") -> StoredJob:
        """Append entries to a job, and ask for its tests to be judged anew where they changed.

        This is the one seam where a reading enters, whoever sends it: a page, an instrument, a file.

        Raises
        ------
        InputError : there is no such job, or an entry cannot be kept; nothing was written
        """
        if any(entry.kind == "service" for entry in entries):
            from loopwright.api.service_job import admit

            entries = admit(self.records.job(job), entries, self.clock())
        stored = self.records.enter(job, entries)
        self.changed(job)
        for test in TESTS:
            self.judge(stored, test, language)
        return stored

    def write(self, job: str, by: str, values: dict[str, str], language: str = "en") -> StoredJob:
        """Write values by field ("before.running.low_side.pressure": "30 psi"); an empty one clears its field.

        Raises
        ------
        InputError : as for `enter`
        """
        at = self.clock()
        entries = [new_entry("wrote", by, at, field=field, value=value) for field, value in values.items()]
        return self.enter(job, entries, language)

    def undo(self, job: str, by: str) -> StoredJob:
        """Take back the newest entry of a job that this person made and that still counts.

        Raises
        ------
        InputError : there is no such job, or nothing to take back
        """
        stored = self.records.job(job)
        gone = undone(stored.entries)
        mine = [e for e in stored.entries if e.by == by and e.kind not in ("opened", "undid") and e.id not in gone]
        if not mine:
            raise InputError(
                [Problem("job", say("nothing"), say("an entry of yours"), say("There is nothing to take back."))]
            )
        return self.enter(job, [new_entry("undid", by, self.clock(), entry=mine[-1].id)])

    def job(self, job: str) -> StoredJob:
        """Return one job.

        Raises
        ------
        InputError : there is none of that id
        """
        return self.records.job(job)

    def view(self, stored: StoredJob, test: str, language: str = "en") -> TestView:
        """Return one test of a job as a page shows it."""
        sheet, problems, found = readable(stored.state, test)
        lacking = _lacking(stored.state, test)
        own = self.records.judgement(stored.id, test, judged_in(language))
        kept = own or self.records.judgement(stored.id, test)  # said in another language, its numbers hold all the same
        fresh = own is not None and own.sheet == sheet_hash(sheet.sheet)
        judgement = None if kept is None or lacking else _decoded(kept.body)
        return TestView(sheet, problems, lacking, found, judgement, fresh, kept.made if kept else "")

    def judge(self, stored: StoredJob, test: str, language: str = "en") -> bool:
        """Ask for a test to be judged, if it can be and was not yet; return whether a judgement is under way."""
        language = judged_in(language)
        state = stored.state.tests[test]
        if not state.written or _lacking(stored.state, test):
            return False
        with speaking(language):
            sheet, _, found = readable(stored.state, test)
        kept = self.records.judgement(stored.id, test, language)
        if found is None or (kept is not None and kept.sheet == sheet_hash(sheet.sheet)):
            return False
        self._judging.wish((stored.id, test, language), sheet.sheet)
        return True

    def judging(self, job: str, test: str, language: str = "en") -> bool:
        """Tell whether a judgement of a test is under way."""
        return self._judging.busy((job, test, judged_in(language)))

    def _judged(self, key: Key, sheet: Any, engine: str, verdict: str, text: str) -> None:
        job, test, language = key
        self.records.keep_judgement(
            job, test, language, KeptJudgement(engine, sheet_hash(sheet), verdict, self.clock(), text)
        )
        self.changed(job)

    def _not_judged(self, key: Key, sheet: Any, error: BaseException) -> None:
        # What cannot be read was left out before; anything else is a fault of ours, and must be seen.
        import logging

        logging.getLogger("loopwright").error("A sheet could not be judged: %s", error)
        self.changed(key[0])


def _lacking(state: JobState, test: str) -> tuple[str, ...]:
    """What a judgement cannot do without."""
    found = []
    if not state.vehicle_value("refrigerant"):
        found.append("vehicle.refrigerant")
    if not state.tests[test].value("air_temperature"):
        found.append(f"{test}.air_temperature")
    return tuple(found)


def readable(state: JobState, test: str) -> tuple[Sheet, dict[str, Problem], Test | None]:
    """Return the sheet without what cannot be read, what is wrong by field, and what was understood."""
    from loopwright.readings import read

    sheet = sheet_of(state, test)
    problems: dict[str, Problem] = {}
    for _ in range(3):  # a reading may turn out impossible only when another is gone
        try:
            return sheet, problems, read(sheet.sheet)
        except InputError as error:
            found = {field_of_problem(sheet, problem.field): problem for problem in error.problems}
            problems.update({field: problem for field, problem in found.items() if field})
            without = _without(state, test, set(found))
            if without == state:
                break
            state = without
            sheet = sheet_of(state, test)
    return sheet, problems, None


def _without(state: JobState, test: str, fields: set[str]) -> JobState:
    vehicle = {key: value for key, value in state.vehicle.items() if f"vehicle.{key}" not in fields}
    one = state.tests[test]
    written = {key: value for key, value in one.written.items() if f"{test}.{key}" not in fields}
    return replace(state, vehicle=vehicle, tests={**state.tests, test: replace(one, written=written)})


@lru_cache(maxsize=256)
def _decoded(text: str) -> Judgement | None:
    """A kept judgement; None where another version wrote what this one cannot read."""
    try:
        return decode(text)
    except ValueError:
        return None
