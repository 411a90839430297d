"""What a job's entries add up to: the last word on each field counts, and whatever was undone does not."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from loopwright.job.acts import acts
from loopwright.job.entries import TESTS, Entry

__all__ = ["Done", "JobState", "Note", "Photo", "TestState", "Written", "derive", "undone"]


@dataclass(frozen=True)
class Written:
    """A value as it was typed, by whom and when; `entry` is the id of the entry that says so."""

    value: str
    by: str
    at: str
    entry: str
    source: str = "typed"


@dataclass(frozen=True)
class Done:
    """An act that was done; `early` names acts that should have come first, `reason` why it was done all the same."""

    by: str
    at: str
    entry: str
    reason: str = ""
    early: tuple[str, ...] = ()


@dataclass(frozen=True)
class Note:
    """Free words about a job."""

    text: str
    by: str
    at: str
    entry: str


@dataclass(frozen=True)
class Photo:
    """A photograph, by the hash of its bytes."""

    photo: str
    caption: str
    by: str
    at: str
    entry: str


@dataclass(frozen=True)
class TestState:
    """One test of a job: what was written by field key, and the acts done; `began` is its first entry's moment."""

    __test__ = False  # the name is the trade's; keep pytest from collecting it

    written: Mapping[str, Written] = field(default_factory=dict)
    done: Mapping[str, Done] = field(default_factory=dict)
    began: str = ""
    last: int = 0

    def value(self, key: str) -> str:
        """Return what was typed in a field, empty where nothing was."""
        found = self.written.get(key)
        return "" if found is None else found.value


@dataclass(frozen=True)
class JobState:
    """A job as its entries tell it. `last` counts the entries that it was derived from."""

    vehicle: Mapping[str, Written]
    tests: Mapping[str, TestState]
    service: tuple[Mapping[str, Any], ...]
    notes: tuple[Note, ...]
    photos: tuple[Photo, ...]
    closed: bool
    opened_at: str
    opened_by: str
    last: int

    def vehicle_value(self, key: str) -> str:
        """Return what was typed about the vehicle, empty where nothing was."""
        found = self.vehicle.get(key)
        return "" if found is None else found.value

    @property
    def title(self) -> str:
        """The vehicle's name, else its plate, else nothing."""
        return self.vehicle_value("label") or self.vehicle_value("plate")


@dataclass
class _Gathered:
    written: dict[str, Written] = field(default_factory=dict)
    done: dict[str, Done] = field(default_factory=dict)
    began: str = ""
    last: int = 0


def derive(entries: Sequence[Entry]) -> JobState:
    """Derive a job from its entries, in the order in which they were recorded.

    >>> from loopwright.job.entries import new_entry
    >>> at = "2024-07-01T10:00:00Z"
    >>> wrong = new_entry("wrote", "Ann", at, field="before.running.low_side.pressure", value="300 psi")
    >>> state = derive([wrong, new_entry("undid", "Ann", at, entry=wrong.id)])
    >>> state.tests["before"].value("running.low_side.pressure")
    ''
    """
    gone = undone(entries)
    where = {"vehicle": _Gathered(), **{test: _Gathered() for test in TESTS}}
    service, notes, photos, closed = [], [], [], False
    for number, entry in enumerate(entries, 1):
        if entry.id in gone:
            continue
        data = entry.data
        match entry.kind:
            case "wrote":
                _write(where, entry, number)
            case "did":
                _do(where[data["test"]], entry, number)
            case "noted":
                notes.append(Note(data["text"], entry.by, entry.at, entry.id))
            case "photo":
                photos.append(Photo(data["photo"], data.get("caption", ""), entry.by, entry.at, entry.id))
            case "service":
                service.append(data["event"])
            case "closed" | "reopened":
                closed = entry.kind == "closed"
    tests = {test: TestState(w.written, w.done, w.began, w.last) for test in TESTS if (w := where[test])}
    first = entries[0] if entries else None
    return JobState(
        vehicle=where["vehicle"].written,
        tests=tests,
        service=tuple(service),
        notes=tuple(notes),
        photos=tuple(photos),
        closed=closed,
        opened_at=first.at if first else "",
        opened_by=first.by if first else "",
        last=len(entries),
    )


def undone(entries: Iterable[Entry]) -> set[str]:
    """Return the ids of entries that do not count: those undone by an entry that is not itself undone."""
    gone: set[str] = set()
    for entry in reversed([e for e in entries if e.kind == "undid"]):
        if entry.id not in gone:
            gone.add(entry.data["entry"])
    return gone


def _write(where: Mapping[str, _Gathered], entry: Entry, number: int) -> None:
    room, _, key = entry.data["field"].partition(".")
    found = where[room]
    found.last = number
    found.began = found.began or entry.at
    value = entry.data["value"].strip()
    if value:
        found.written[key] = Written(value, entry.by, entry.at, entry.id, entry.data.get("source", "typed"))
    else:  # emptied by hand
        found.written.pop(key, None)


def _do(found: _Gathered, entry: Entry, number: int) -> None:
    act = entry.data["act"]
    found.last = number
    found.began = found.began or entry.at
    if entry.data.get("done", True):
        early = tuple(one for one in acts()[act].after if one not in found.done)
        found.done[act] = Done(entry.by, entry.at, entry.id, entry.data.get("reason", ""), early)
    else:  # the tick was taken back
        found.done.pop(act, None)
