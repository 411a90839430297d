"""What the page of a test shows, as plain values: stages with their acts and fields, and what the readings tell."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from loopwright.api.people import Person
from loopwright.api.shop import Field, StoredJob, TestView, act_cautions, acts, stages, test_fields, vehicle_fields
from loopwright.errors import Problem
from loopwright.figures import Judgement, Strip, Terms, placed
from loopwright.figures.terms import Shown, row
from loopwright.figures.words import place_word, point_name
from loopwright.language import later, say
from loopwright.quantities import units_of

__all__ = ["ActShown", "Entered", "StageShown", "labels_of", "page_stages", "person_units", "terms_of"]

# What each stage asks, in the order of the work; `more` waits behind a fold.
_VEHICLE = ("refrigerant", "label", "charge", "expansion", "compressor", "storage", "high_port")
_VEHICLE_MORE = ("plate", "vin", "odometer", "oil", "displacement", "customer", "phone", "complaint")
_STAGES: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "standing": (
        ("air_temperature", "relative_humidity", "standing.low_side.pressure", "standing.high_side.pressure"),
        ("altitude", "gauges", "gauge_accuracy", "thermometer"),
    ),
    "running": (
        (
            "compressor_speed",
            "blower",
            "air",
            "minutes_running",
            "running.low_side.pressure",
            "running.high_side.pressure",
            "running.vent_center.temperature",
        ),
        (
            "running.low_side.pressure.minimum",
            "running.high_side.pressure.maximum",
            "running.clutch.duty",
            "running.vent_left.temperature",
            "running.vent_right.temperature",
            "running.cabin_air_in.temperature",
            "running.cabin_air_in.relative_humidity",
            "running.condenser_air_in.temperature",
            "running.condenser_air_out.temperature",
        ),
    ),
    "feel": (
        (
            "running.clutch.seen",
            "running.condenser_fan.seen",
            "running.vent_center.airflow",
            "running.compressor_suction.temperature",
            "running.compressor_suction.felt",
            "running.compressor_discharge.temperature",
            "running.condenser_outlet.temperature",
            "running.condenser_outlet.felt",
            "running.evaporator_outlet.temperature",
            "running.evaporator_outlet.felt",
        ),
        (
            "running.sight_glass.seen",
            "running.condenser_inlet.temperature",
            "running.drier_outlet.temperature",
            "running.drier_outlet.felt",
            "running.expansion_inlet.temperature",
            "running.expansion_inlet.felt",
            "running.evaporator_inlet.temperature",
            "running.evaporator_inlet.felt",
        ),
    ),
    "stop": (("after_stop.low_side.pressure", "after_stop.high_side.pressure"), ()),
}
_UNITS: Mapping[str, tuple[str, ...]] = {  # offered one tap away; any other may be typed
    "pressure": ("psi", "kPa", "bar", "kgf/cm2"),
    "temperature": ("°F", "°C"),
    "mass": ("g", "oz", "lb", "kg"),
    "length": ("m", "ft"),
    "volume": ("cm3",),
}
_NUMBER_THEN_UNIT = re.compile(r"\s*([-+−]?[\d.,' ]*\d)\s*(\D*)")
_LONG = {"complaint"}


@dataclass(frozen=True)
class Entered:
    """One field as the page shows it: what was typed, its unit, what is wrong, and its strip where a band is known.

    `name` is the field's key in an entry; `number` and `unit` are the typed value taken apart where it can be.
    """

    name: str
    label: str
    kind: str
    value: str
    number: str
    unit: str
    units: tuple[str, ...]
    choices: tuple[tuple[str, str], ...]
    by: str
    problem: Problem | None
    strip: Strip | None = None
    band: str = ""
    word: str = ""
    sigma: float = 0.0
    long: bool = False
    mate: Entered | None = None
    asked: bool = False


@dataclass(frozen=True)
class ActShown:
    """An act with its cautions; `early` names what should have come first when it was done without."""

    id: str
    title: str
    cautions: tuple[str, ...]
    done: bool
    by: str
    reason: str
    early: tuple[str, ...]


@dataclass(frozen=True)
class StageShown:
    """One stage: what it asks now, what waits behind "more", and what it came to in a few words."""

    id: str
    title: str
    says: str
    acts: tuple[ActShown, ...]
    fields: tuple[Entered, ...]
    more: tuple[Entered, ...]
    result: str
    open: bool
    left: int


def person_units(person: Person) -> dict[str, str]:
    """Return the units that a person wants, by quantity."""
    wanted = person.preferences
    return {"pressure": wanted.pressure, "temperature": wanted.temperature, "mass": wanted.mass}


def labels_of(names: Iterable[str]) -> dict[str, str]:
    """Return the label of each field by its key in an entry ("before.running.low_side.pressure").

    >>> labels_of(["before.running.low_side.pressure", "vehicle.charge"])["vehicle.charge"]
    'Charge on the under-hood label'
    """
    found = {}
    for name in names:
        room, _, key = name.partition(".")
        field = (vehicle_fields() if room == "vehicle" else test_fields()).get(key)
        found[name] = _label(field) if field else name
    return found


def terms_of(view: TestView, units: Mapping[str, str]) -> Terms:
    """Return the units that a test is shown in: as typed where it was typed, else the person's own."""
    own = {quantity: Shown(unit, quantity == "pressure") for quantity, unit in units.items()}
    if view.test is None:
        return Terms(by_quantity=own)
    typed = Terms.of(view.test)
    weather = typed.weather
    if "temperature" in own and "temperature" not in typed.by_quantity:
        air = view.test.weather.air_temperature
        degrees = air * 9 / 5 - 459.67 if own["temperature"].symbol == "°F" else air - 273.15
        humid = view.test.weather.relative_humidity
        weather = f"{degrees:.0f} {own['temperature'].symbol}"
        if humid is not None:
            weather = say("{air} and {humidity:.0f} % humidity", air=weather, humidity=100 * humid)
    return replace(typed, by_quantity={**own, **typed.by_quantity}, weather=weather)


def page_stages(stored: StoredJob, view: TestView, test: str, units: Mapping[str, str]) -> tuple[StageShown, ...]:
    """Return the stages of one test in their order, the first unfinished one open."""
    expected = _expected(view, terms_of(view, units))
    asked = _asked(view.judgement)

    def shown(field: Field, room: str) -> Entered:
        return _entered(stored, view, field, room, test, units, expected, asked)

    found = []
    for id_, stage in stages().items():
        if id_ == "vehicle":
            fields, more = [
                tuple(shown(vehicle_fields()[key], "vehicle") for key in keys) for keys in (_VEHICLE, _VEHICLE_MORE)
            ]
        else:
            main, rest = _STAGES.get(id_, ((), ()))
            fields, more = (tuple(_paired(shown(test_fields()[key], test) for key in keys)) for keys in (main, rest))
        called = [entered for entered in more if _is_asked(entered)]
        fields, more = (*fields, *called), tuple(entered for entered in more if not _is_asked(entered))
        done = tuple(_act(stored, test, act) for act in acts() if acts()[act].stage == id_)
        left = sum(not act.done for act in done) + sum(_is_open(entered) for entered in fields)
        found.append(
            StageShown(
                id_, say(stage.title), say(stage.says), done, fields, more, _result(id_, done, fields), False, left
            )
        )
    return tuple(_with_current_open(found))


def _is_asked(entered: Entered) -> bool:
    return entered.asked or (entered.mate is not None and entered.mate.asked)


def _is_open(entered: Entered) -> bool:
    return not entered.value and not (entered.mate is not None and entered.mate.value)


def _with_current_open(found: Sequence[StageShown]) -> Iterator[StageShown]:
    """Open the stage after the last one that was worked on, or that one while much of it is still blank."""
    worked = [i for i, stage in enumerate(found) if stage.result]
    current = worked[-1] if worked else 0
    if worked and found[current].left == 0 and current + 1 < len(found):
        current += 1
    yield from (replace(stage, open=i == current) for i, stage in enumerate(found))


def _paired(fields: Iterator[Entered]) -> Iterator[Entered]:
    """Put what the hand felt beside what the probe read at the same point."""
    waiting: Entered | None = None
    for field in fields:
        if waiting is not None and field.name.endswith(".felt") and field.name[:-5] == waiting.name.rpartition(".")[0]:
            yield replace(waiting, mate=field)
            waiting = None
            continue
        if waiting is not None:
            yield waiting
        waiting = field
    if waiting is not None:
        yield waiting


def _entered(
    stored: StoredJob,
    view: TestView,
    field: Field,
    room: str,
    test: str,
    units: Mapping[str, str],
    expected: Mapping[tuple[str, str, str, str], Any],
    asked: str,
) -> Entered:
    name = f"{room}.{field.key}"
    written = (stored.state.vehicle if room == "vehicle" else stored.state.tests[test].written).get(field.key)
    value = "" if written is None else written.value
    own = units.get(field.kind, field.unit)
    number, unit = _apart(value, own)
    found = Entered(
        name=name,
        label=_label(field),
        kind=_shape(field),
        value=value,
        number=number,
        unit=unit,
        units=_offered(field, own),
        choices=tuple((choice, say(choice.replace("_", " "))) for choice in field.choices),
        by="" if written is None else written.by,
        problem=view.problems.get(name),
        long=field.key in _LONG,
        asked=bool(asked) and field.point == asked and field.phase == "running" and not value,
    )
    band = expected.get((field.phase, field.point, field.quantity, field.statistic))
    return found if band is None else replace(found, **band)


def _label(field: Field) -> str:
    name = point_name(field.point) if field.point else say(field.name)
    if field.statistic == "minimum":
        return name + say(", least")
    if field.statistic == "maximum":
        return name + say(", greatest")
    if field.quantity in ("duty", "relative_humidity"):
        return f"{name}, {say(_QUANTITY[field.quantity])}"
    return name


_QUANTITY = {"duty": later("share of time in"), "relative_humidity": later("humidity")}


def _shape(field: Field) -> str:
    if field.kind in ("choice", "text"):
        return field.kind
    return "number"


def _offered(field: Field, own: str) -> tuple[str, ...]:
    """The units one tap away, the person's own first."""
    if field.kind in ("choice", "text"):
        return ()
    offered = _UNITS.get(field.kind) or tuple(dict.fromkeys([field.unit]))
    known = {unit.symbol for unit in units_of(field.kind)}  # type: ignore[arg-type]
    return tuple(dict.fromkeys([own, *(unit for unit in offered if unit in known)]))


def _apart(value: str, own: str) -> tuple[str, str]:
    """Take a typed value apart into what stands in the field and the unit beside it; what does not come apart stays.

    >>> _apart("30,5 psi", "kPa"), _apart("", "kPa"), _apart("lots", "kPa"), _apart("1 lb 5 oz", "g")
    (('30,5', 'psi'), ('', 'kPa'), ('lots', 'kPa'), ('1 lb 5 oz', 'g'))
    """
    match = _NUMBER_THEN_UNIT.fullmatch(value)
    if match is None:
        return value, own
    return match[1], match[2].strip() or own


def _act(stored: StoredJob, test: str, act: str) -> ActShown:
    done = stored.state.tests[test].done.get(act)
    titles = tuple(say(acts()[one].title) for one in (done.early if done else ()))
    by, reason = ("", "") if done is None else (done.by, done.reason)
    return ActShown(act, say(acts()[act].title), act_cautions(act), done is not None, by, reason, titles)


def _result(stage: str, done: Sequence[ActShown], fields: Sequence[Entered]) -> str:
    """What a stage came to, in one line; empty while nothing of it was done."""
    values = [said for field in fields for said in (_said(field), _said(field.mate)) if said]
    ticked = sum(act.done for act in done)
    if done and ticked:
        values.append(say("{done} of {all} done", done=ticked, all=len(done)))
    return " · ".join(values[:5])


def _said(field: Entered | None) -> str:
    if field is None or not field.value:
        return ""
    if field.kind == "choice":
        return dict(field.choices).get(field.value, field.value)
    return f"{field.number} {field.unit}".strip() if field.kind == "number" else field.value


def _asked(judgement: Judgement | None) -> str:
    """The point of the next check, so that its field is at hand."""
    return judgement.next_checks[0].point if judgement and judgement.next_checks else ""


def _expected(view: TestView, terms: Terms) -> dict[tuple[str, str, str, str], dict[str, Any]]:
    """What each reading's strip shows: the band of the newest judgement, and the mark of what is written now.

    The mark need not wait for a judgement: the band is that of a healthy vehicle in this weather, whatever was read.
    """
    judgement = view.judgement
    if judgement is None:
        return {}
    readings = view.test.readings if view.test else ()
    now = {(r.phase, r.point, r.quantity, r.statistic): r.value for r in readings}
    found = {}
    for known in judgement.expected:
        key = (known.phase, known.point, known.quantity, known.statistic)
        e = known if view.fresh else replace(known, measured=now.get(key))
        r = row(e, terms, judgement.ambient_pressure)
        strip = placed(r.low, r.median, r.high, r.measured)
        width = e.interval.high - e.interval.low
        sigma = 0.0 if width <= 0 else min(e.sigma / width, 1.0)
        unit = f"{r.band} {r.unit}"
        found[(e.phase, e.point, e.quantity, e.statistic)] = {
            "strip": strip,
            "band": unit,
            "word": place_word(strip.word),
            "sigma": sigma,
        }
    return found
