"""What the page of a service shows, as plain values: steps with cautions, records, timers, and what they came to."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from loopwright.api.people import Person
from loopwright.api.service import OBTAINED, FormField, calculator_form, record_fields
from loopwright.api.service_job import COMPRESSORS, OPENING, Kept, LeftOut, opening, units_in_si
from loopwright.api.shop import StoredJob, vehicle_fields
from loopwright.cards import sources
from loopwright.language import moment, say
from loopwright.service.cautions import cautions
from loopwright.service.procedure import (
    HAZARDS,
    SHORTEST_REASON,
    Job,
    Noted,
    Opened,
    Record,
    Rule,
    State,
    StepState,
    derive,
    records,
)
from loopwright.web.pages.calculators.show import FieldShown, preferred

__all__ = ["RecordShown", "ServiceShown", "StepShown", "opening_fields", "service_shown"]

# The calculations that belong to each step, one tap away with the job's values.
_SHEETS: Mapping[str, tuple[str, ...]] = {
    "identify": ("foreign-gas",),
    "recover": ("recovery", "cylinder", "hose"),
    "oil": ("oil",),
    "evacuate": ("evacuation",),
    "prove_tight": ("rise", "hold", "leak-rate"),
    "charge": ("charge", "hose"),
    "clear_hoses": ("hose", "disconnect"),
    "close_out": ("disconnect", "co2e"),
}
_GAUGE = ("pressure",)
_NUMBER = re.compile(r"[-+−]?[\d.,]+")


@dataclass(frozen=True)
class RecordShown:
    """One thing that a step writes down; `kept` is what the shop has, `rules` and `si` let a device check alone."""

    field: FieldShown
    step: str
    kept: str
    rules: str
    si: str
    zero: float


@dataclass(frozen=True)
class StepShown:
    """One step as the page draws it; `result` is its folded line, `since` [s] when its timer began."""

    id: str
    number: int
    title: str
    status: str
    do: tuple[str, ...]
    cautions: tuple[tuple[str, str], ...]
    sources: tuple[tuple[str, str, str], ...]
    after: tuple[str, ...]
    waits_for: tuple[str, ...]
    records: tuple[RecordShown, ...]
    timer: int
    timer_says: str
    timer_from: str
    since: float | None
    hazard: str
    hazard_says: str
    against: tuple[str, ...]
    barred: bool
    reason: str
    result: str
    ended: str
    by: str
    sheets: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class ServiceShown:
    """A service: what it was opened with, its steps, the one to do next (empty when done), what is on record beside."""

    job: Job
    opened: str
    steps: tuple[StepShown, ...]
    next: str
    deviations: tuple[tuple[str, str, str, str], ...]
    left_out: tuple[LeftOut, ...]
    shortest_reason: int


def opening_fields(stored: StoredJob) -> tuple[FieldShown, ...]:
    """Return what is asked to open a service, with what the job tells already."""
    known = opening(stored)
    refrigerants = tuple((one, one) for one in vehicle_fields()["refrigerant"].choices)
    kinds = tuple((one, say(one)) for one in COMPRESSORS)
    shapes: Mapping[str, tuple[str, tuple[tuple[str, str], ...], str, str]] = {
        "refrigerant": ("choice", refrigerants, "", ""),
        "machine_refrigerant": ("choice", refrigerants, "", say("as marked on it; never another than the label's")),
        "compressor": ("choice", kinds, "", ""),
        "charge": ("mass", (), "g", ""),
        "altitude": ("length", (), "m", say("where gauges do not read zero at sea level's air; blank: sea level")),
    }
    return tuple(
        FieldShown(
            name=name,
            label=say(OPENING[name]),
            kind=kind,
            help=help_,
            value=known[name],
            unit=unit,
            units=(unit,) if unit else (),
            choices=choices,
            required=name != "altitude",
            taken="",
            problems=(),
        )
        for name, (kind, choices, unit, help_) in shapes.items()
    )


def service_shown(stored: StoredJob, kept: Kept, person: Person, now: float) -> ServiceShown:
    """Return a service as it stands now."""
    state = derive(kept.events, now)
    opened = kept.events[0]
    assert isinstance(opened, Opened)
    titles = {one.step.id: say(one.step.title) for one in state.steps}
    noted = _noted(kept)
    deviations = tuple((titles.get(d.step, d.step), d.reason, d.by, _when(d.at)) for d in state.deviations)
    return ServiceShown(
        job=state.job,
        opened=say("{person}, {moment}", person=opened.by, moment=_when(opened.at)),
        steps=tuple(_step(stored, kept, state, one, i, noted, person) for i, one in enumerate(state.steps, 1)),
        next=state.next.step.id if state.next else "",
        deviations=deviations,
        left_out=kept.left_out,
        shortest_reason=SHORTEST_REASON,
    )


def _step(
    stored: StoredJob,
    kept: Kept,
    state: State,
    one: StepState,
    number: int,
    noted: Mapping[tuple[str, str], float],
    person: Person,
) -> StepShown:
    step, job = one.step, state.job
    titles = {other.step.id: say(other.step.title) for other in state.steps}
    timer = step.timer
    since = one.began
    if timer and timer.from_record:
        since = noted.get((step.id, timer.from_record)) if timer.from_record in one.records else None
    return StepShown(
        id=step.id,
        number=number,
        title=say(step.title),
        status=one.status,
        do=tuple(map(say, step.do)),
        cautions=_cautions(one, job),
        sources=_sources(step.source),
        after=step.after,
        waits_for=tuple(titles[other] for other in one.waits_for),
        records=tuple(_record(kept, one, job, field, person) for field in record_fields(step.id)),
        timer=round(timer.seconds) if timer else 0,
        timer_says=say(timer.says) if timer else "",
        timer_from=timer.from_record if timer else "",
        since=since if timer else None,
        hazard=step.hazard,
        hazard_says=say(HAZARDS[step.hazard]) if HAZARDS[step.hazard] else "",
        against=one.against if one.status == "open" else (),
        barred=one.barred,
        reason=one.reason,
        result=_result(kept, one),
        ended="" if one.ended is None else _when(one.ended),
        by=one.by,
        sheets=_sheets(step.id, stored.id),
    )


def _sheets(step: str, job: str) -> tuple[tuple[str, str], ...]:
    return tuple((calculator_form(name).title, f"/calculators/{name}?job={job}") for name in _SHEETS.get(step, ()))


def _cautions(one: StepState, job: Job) -> tuple[tuple[str, str], ...]:
    # Until it is identified, the refrigerant may be any.
    refrigerant = None if one.step.hazard == "mixing" else job.refrigerant
    found = (cautions()[key] for key in one.step.cautions)
    return tuple((say(c.act), say(c.says)) for c in found if c.applies(refrigerant, job.compressor))


def _sources(keys: tuple[str, ...]) -> tuple[tuple[str, str, str], ...]:
    return tuple((sources()[k].citation, sources()[k].obtained, say(OBTAINED[sources()[k].obtained])) for k in keys)


def _record(kept: Kept, one: StepState, job: Job, field: FormField, person: Person) -> RecordShown:
    record = records()[field.name]
    written = kept.written.get((one.step.id, field.name), "") if field.name in one.records else ""
    unit = preferred(field.kind, field.unit, field.units, person)
    number, unit = _apart(written, unit, field.units)
    rules = [found for rule in one.step.rules if rule.record == field.name and (found := _rule(rule, job))]
    shown = FieldShown(
        name=f"{one.step.id}-{field.name}",
        label=field.label,
        kind=field.kind,
        help=field.help,
        value=number,
        unit=unit,
        units=tuple(dict.fromkeys((unit, *field.units))) if unit else (),
        choices=field.choices,
        required=True,
        taken="",
        problems=(),
    )
    return RecordShown(shown, one.step.id, written, json.dumps(rules), _si(record), _zero(record, job))


def _si(record: Record) -> str:
    return json.dumps(units_in_si(record.id)) if record.unit else "{}"


def _zero(record: Record, job: Job) -> float:
    """What a gauge reads from [Pa]; nothing for what is no gauge pressure."""
    return job.atmosphere if record.kind in _GAUGE else 0.0


def _rule(rule: Rule, job: Job) -> dict[str, Any] | None:
    """A rule as the device checks it, the job's own values put in; None where it does not concern this vehicle."""
    if rule.only_compressor and rule.only_compressor != job.compressor:
        return None
    same = getattr(job, rule.same_as) if rule.same_as else rule.same_as_text
    most = job.atmosphere if rule.below_atmosphere else rule.at_most
    found = {"same": same or None, "unlike": rule.not_like or None, "least": rule.at_least, "most": most}
    return {"says": say(rule.says), "never": rule.never, **{k: v for k, v in found.items() if v is not None}}


def _apart(written: str, unit: str, units: tuple[str, ...]) -> tuple[str, str]:
    """Take "420 g" apart where its unit is one that the page offers; else all of it stands in the field.

    >>> _apart("99,5 %", "1", ("1", "%")), _apart("1 lb 5 oz", "g", ("g", "lb", "oz"))
    (('99,5', '%'), ('1 lb 5 oz', 'g'))
    """
    number, _, behind = written.rpartition(" ")
    return (number, behind) if _NUMBER.fullmatch(number) and behind in units else (written, unit)


def _result(kept: Kept, one: StepState) -> str:
    """What a step came to, in one line."""
    if one.status == "deviated":
        return one.reason
    values = [_said(kept, one, record) for record in one.step.records if record in one.records]
    return " · ".join(values)


def _said(kept: Kept, one: StepState, record: str) -> str:
    written = kept.written.get((one.step.id, record), "")
    if not records()[record].choices:
        return written
    words = say(written.replace("_", " "))
    return f"{say(record.replace('_', ' '))}: {words}" if written in ("yes", "no") else words


def _noted(kept: Kept) -> dict[tuple[str, str], float]:
    """When each record was last written down; a step begun anew forgets."""
    found: dict[tuple[str, str], float] = {}
    for event in kept.events:
        if isinstance(event, Noted):
            found[event.step, event.record] = event.at
    return found


def _when(at: float) -> str:
    return moment(datetime.fromtimestamp(at, UTC).astimezone())  # the shop's own time
