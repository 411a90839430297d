"""A service as part of a shop's job: what a phone sends is admitted, what was admitted is replayed in its order.

A phone without a connection goes on, and sends later; another phone may have gone on meanwhile. So the events of a job
are put in the order in which they happened, and one that then no longer fits stays on record and is shown as left out.
"""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from loopwright.api.service import from_plain, new_job, note, to_plain
from loopwright.errors import InputError
from loopwright.job import Entry
from loopwright.language import later, say, spoken
from loopwright.quantities import show, units_of
from loopwright.service import procedure
from loopwright.service.procedure import Event, Noted, Opened
from loopwright.store.jobs import StoredJob

__all__ = ["COMPRESSORS", "OPENING", "Kept", "LeftOut", "admit", "opening", "replay", "units_in_si", "written_records"]

COMPRESSORS = ("fixed", "variable", "electric")
_CHARGE = (0.01, 50.0)  # kg: from the smallest fridge van's pipe to a bus
_ALTITUDE = (-450.0, 5500.0)  # m: where vehicles are serviced


@dataclass(frozen=True)
class LeftOut:
    """An event that is on record and does not count, with the reason."""

    event: Mapping[str, Any]
    says: str


@dataclass(frozen=True)
class Kept:
    """The events of a job that count, in their order; `written` is each record as typed, by step and record."""

    events: tuple[Event, ...]
    written: Mapping[tuple[str, str], str]
    left_out: tuple[LeftOut, ...]


def replay(service: Sequence[Mapping[str, Any]]) -> Kept:
    """Return the events of a job (`JobState.service`) that count.

    >>> replay([{"event": "started", "at": 1.0, "by": "Kim", "step": "charge"}]).left_out[0].says
    'No job is open.'
    """
    return _replayed(json.dumps(service), spoken())


@lru_cache(maxsize=256)
def _replayed(service: str, language: str) -> Kept:
    """Read again only what changed: every event is checked against all before it."""
    left_out: list[LeftOut] = []
    placed: list[tuple[Event, Mapping[str, Any]]] = []
    for plain in json.loads(service):
        try:
            event = from_plain(_core(plain))
        except InputError as error:
            left_out.append(LeftOut(plain, _says(error)))
            continue
        placed.insert(_place([one for one, _ in placed], event), (event, plain))
    events: tuple[Event, ...] = ()
    written: dict[tuple[str, str], str] = {}
    for event, plain in placed:
        try:
            events = procedure.add(events, event)
        except InputError as error:
            left_out.append(LeftOut(plain, _says(error)))
            continue
        if isinstance(event, Noted):
            written[event.step, event.record] = str(plain.get("written", _shown(event)))
    return Kept(events, MappingProxyType(written), tuple(left_out))


def admit(stored: StoredJob, entries: Sequence[Entry], now: str) -> list[Entry]:
    """Return entries with their service events checked, in SI, and signed by who entered them.

    Parameters
    ----------
    stored : the job before them; an entry that it holds already is passed on as it is
    entries : of any kind; those of other kinds are passed on
    now : this moment (RFC 3339); no clock is believed that is ahead of it

    Raises
    ------
    InputError : an event that does not fit after those before it; the sentence says what is in its way
    """
    known = {entry.id for entry in stored.entries}
    events = list(replay(stored.state.service).events)
    present = datetime.fromisoformat(now).timestamp()
    found = []
    for entry in entries:
        sent = entry.data.get("event")
        if entry.kind != "service" or entry.id in known or not isinstance(sent, Mapping):
            found.append(entry)
            continue
        at = min(_seconds(sent.get("at"), present), present)
        plain, event = _understood(events, {**sent, "by": entry.by, "at": at})
        i = _place(events, event)
        events[i:i] = [procedure.add(events[:i], event)[-1]]
        found.append(dataclasses.replace(entry, data={"event": plain}))
    return found


def written_records(stored: StoredJob) -> dict[str, str]:
    """Return what the steps of a job wrote down, as typed, by record."""
    kept = replay(stored.state.service)
    if not kept.events:
        return {}
    state = procedure.derive(kept.events)
    return {
        record: kept.written[step.step.id, record]
        for step in state.steps
        for record in step.records
        if (step.step.id, record) in kept.written
    }


def opening(stored: StoredJob) -> dict[str, str]:
    """Return what the job tells already for opening its service, as typed."""
    vehicle, before = stored.state.vehicle_value, stored.state.tests["before"].value
    return {
        "refrigerant": vehicle("refrigerant"),
        "machine_refrigerant": "",
        "compressor": vehicle("compressor"),
        "charge": vehicle("charge"),
        "altitude": before("altitude"),
    }


def units_in_si(record: str) -> dict[str, float]:
    """Return what one of each unit is in SI, so that a page without a connection can check a limit.

    >>> units_in_si("recovered_mass")["g"]
    0.001
    """
    kind = procedure.records()[record].kind.removeprefix("absolute_")
    return {unit.symbol: unit.factor for unit in units_of(kind)}  # type: ignore[arg-type]  # words have no units


def _shown(event: Noted) -> str:
    """A value that was not typed but came in SI, in the unit in which it is usually read."""
    record = procedure.records().get(event.record)
    if record is None or isinstance(event.value, str) or not record.unit:
        return str(event.value)
    kind: Any = record.kind.removeprefix("absolute_")
    text = show(event.value, kind, record.unit)
    return say("{pressure} absolute", pressure=text) if kind == "pressure" else text


def _core(plain: Mapping[str, Any]) -> dict[str, Any]:
    """The event itself, without what was typed for it."""
    return {key: value for key, value in plain.items() if key != "written"} if isinstance(plain, Mapping) else {}


def _place(events: Sequence[Event], event: Event) -> int:
    """Where an event belongs: behind all others, unless it happened well before the last of them."""
    if not events or max(one.at for one in events) - event.at <= procedure.CLOCK_STEP:
        return len(events)
    return max((i for i, one in enumerate(events, 1) if one.at <= event.at), default=0)


def _understood(events: Sequence[Event], plain: dict[str, Any]) -> tuple[dict[str, Any], Event]:
    """An event with what was typed brought to SI; the typed text stays beside it."""
    written = plain.get("written")
    kind = str(plain.get("event", "")).casefold()
    if kind == "opened" and isinstance(written, Mapping):
        job = new_job({str(key): str(value) for key, value in written.items()})
        event: Event = Opened(plain["at"], plain["by"], job)
        kept: Any = {key: str(value)[:80] for key, value in written.items() if key in OPENING}
        return {**to_plain(event), "written": kept}, event
    if kind == "noted" and written is not None:
        step, record = str(plain.get("step", "")), str(plain.get("record", ""))
        noted = note(events, plain["at"], plain["by"], step, record, written)
        return {**to_plain(noted), "written": str(written)[:200]}, noted
    event = from_plain(_core(plain))
    return to_plain(event), event


OPENING = {
    "refrigerant": later("Refrigerant on the label"),
    "machine_refrigerant": later("Refrigerant that the machine is for"),
    "compressor": later("Compressor"),
    "charge": later("Charge on the label"),
    "altitude": later("Altitude"),
}


def _seconds(at: object, present: float) -> float:
    is_number = isinstance(at, int | float) and not isinstance(at, bool) and math.isfinite(at)
    return float(at) if is_number else present  # type: ignore[arg-type]


def _says(error: InputError) -> str:
    return " ".join(dict.fromkeys(problem.says for problem in error.problems))
