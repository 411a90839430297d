"""`read`: one test sheet, as nested tables, to a frozen `Test`; all that is wrong is gathered and raised at once."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Literal

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.quantities import Quantity, absolute, written_as
from loopwright.readings import mixups
from loopwright.readings.gather import Gather, join
from loopwright.readings.places import Places
from loopwright.readings.plausible import impossible, unlikely
from loopwright.readings.points import PHASES, STATISTICS, Field, table
from loopwright.readings.records import Conditions, Observation, Reading, Test, Vehicle, Weather

__all__ = ["CHOICES", "KEYS", "read"]

KEYS: dict[str, tuple[str, ...]] = {
    "": ("schema", "id", "vehicle", "weather", "test", "readings", "observations"),
    "vehicle": (
        "refrigerant",
        "expansion",
        "storage",
        "compressor",
        "charge_g",
        "high_port",
        "label",
        "displacement_cm3",
    ),
    "weather": ("air_temperature_c", "relative_humidity_pct", "altitude_m"),
    "test": ("compressor_speed_rpm", "blower", "air", "minutes_running"),
    "reading": (
        "phase",
        "point",
        "quantity",
        "value",
        "unit",
        "reference",
        "statistic",
        "instrument",
        "accuracy",
        "time_s",
    ),
    "accuracy": ("kind", "value", "span", "unit"),
    "observation": ("phase", "point", "kind", "value"),
}
CHOICES: dict[str, tuple[str, ...]] = {
    "expansion": ("thermostatic", "orifice"),
    "storage": ("receiver", "accumulator"),
    "compressor": ("fixed", "variable", "electric"),
    "high_port": ("discharge_line", "liquid_line"),
    "blower": ("low", "medium", "high"),
    "air": ("fresh", "recirculated"),
    "reference": ("gauge", "absolute"),
    "statistic": STATISTICS,
    "phase": PHASES,
    "accuracy": ("one_sigma", "of_span_pct", "limit"),
}
_SEA_LEVEL = 101325.0  # Pa, stands in while the weather itself is wrong, so that the readings are still checked


def read(sheet: Mapping[str, Any], places: Places | None = None) -> Test:
    """Read one test sheet.

    Parameters
    ----------
    sheet : the sheet as nested tables, keys and units as docs/readings.md lists them
    places : where each value stands in its file, for the line numbers of problems

    Returns
    -------
    Test : SI units, absolute pressures (gauge readings use the standard atmosphere at the sheet's altitude, at sea
        level where that is unknown), one standard deviation where an accuracy is given

    Raises
    ------
    InputError : anything unusable, all of it: unknown keys, wrong words, numbers without units, impossible values

    >>> sheet = {"vehicle": {"refrigerant": "R134a"}, "weather": {"air_temperature_c": 31, "altitude_m": 250},
    ...          "readings": [{"phase": "running", "point": "low_side", "quantity": "pressure", "value": "30 psi"}]}
    >>> round(read(sheet).readings[0].value / 1e3, 1), read(sheet).readings[0].written
    (305.2, '30 psi')
    """
    gather = Gather()
    test = assemble(sheet, gather)
    if test is not None and not gather.problems:
        gather.problems.extend(impossible(test))
    if test is None or gather.problems:
        raise InputError(_placed(gather.problems, places))
    return test


def assemble(sheet: object, gather: Gather) -> Test | None:
    """Read the sheet without judging whether the values can be; problems land in `gather`."""
    top = gather.table(sheet, "", KEYS[""], ("vehicle", "weather"))
    _schema(top, gather)
    identity = gather.text(top, "id", "") or ""
    vehicle = _vehicle(top["vehicle"], gather) if "vehicle" in top else None
    weather = _weather(top["weather"], gather) if "weather" in top else None
    conditions = _conditions(top.get("test", {}), gather)
    air = weather.atmosphere if weather is not None else _SEA_LEVEL
    rows = gather.rows(top.get("readings"), "readings")
    readings = [_reading(row, f"readings[{i}]", air, vehicle, gather) for i, row in enumerate(rows)]
    rows = gather.rows(top.get("observations"), "observations")
    observations = [_observation(row, f"observations[{i}]", gather) for i, row in enumerate(rows)]
    if vehicle is None or weather is None or gather.problems:
        return None
    test = Test(
        identity,
        vehicle,
        weather,
        conditions,
        tuple(r for r in readings if r is not None),
        tuple(o for o in observations if o is not None),
    )
    return unlikely(test)


def _placed(problems: list[Problem], places: Places | None) -> list[Problem]:
    if places is None:
        return problems
    return [Problem(p.field, p.found, p.allowed, p.says, places.line(p.field)) for p in problems]


def _schema(top: Mapping[str, Any], gather: Gather) -> None:
    found = top.get("schema", 1)
    if isinstance(found, bool) or found != 1:
        gather.add("schema", found, "1", say("Not a schema this version knows."))


def _vehicle(found: object, gather: Gather) -> Vehicle | None:
    at = gather.table(found, "vehicle", KEYS["vehicle"], ("refrigerant",))
    refrigerant = _refrigerant(at, gather)
    words = {key: gather.choice(at, key, "vehicle", CHOICES[key]) for key in _words("vehicle")}
    label = gather.text(at, "label", "vehicle") or ""
    charge, displacement = (_number(at, key, "vehicle", gather) for key in ("charge_g", "displacement_cm3"))
    if refrigerant is None:
        return None
    return Vehicle(refrigerant=refrigerant, label=label, charge=charge, displacement=displacement, **words)


def _words(where: str) -> list[str]:
    return [key for key in KEYS[where] if key in CHOICES]


def _refrigerant(at: Mapping[str, Any], gather: Gather) -> str | None:
    written = gather.text(at, "refrigerant", "vehicle")
    if written is None:
        return None
    known = table().refrigerant(written)
    if known is None:
        allowed = ", ".join(
            name if r.loop else say("{name} (standing pressure only)", name=name) for name, r in _refrigerants()
        )
        gather.add("vehicle.refrigerant", written, allowed, say("Not a refrigerant that can be judged."))
    return known


def _refrigerants() -> Any:
    return table().refrigerants.items()


def _weather(found: object, gather: Gather) -> Weather | None:
    at = gather.table(found, "weather", KEYS["weather"], ("air_temperature_c",))
    air, humidity, altitude = (_number(at, key, "weather", gather) for key in KEYS["weather"])
    if humidity is not None and 0.0 < humidity < 0.01:  # the driest deserts stay above one per cent
        says = say("No air outdoors is that dry; was a fraction written where per cent is wanted?")
        gather.add("weather.relative_humidity_pct", at["relative_humidity_pct"], say("1 to 100 %"), says)
    return None if air is None else Weather(air, humidity, altitude)


def _conditions(found: object, gather: Gather) -> Conditions:
    at = gather.table(found, "test", KEYS["test"])
    blower, air = (gather.choice(at, key, "test", CHOICES[key]) for key in _words("test"))
    speed, minutes = (_number(at, key, "test", gather) for key in ("compressor_speed_rpm", "minutes_running"))
    return Conditions(speed, blower, air, minutes)


def _number(at: Mapping[str, Any], key: str, where: str, gather: Gather, field: str | None = None) -> float | None:
    """Read a number whose unit stands in its key; text may carry a unit of its own, which then counts."""
    if key not in at:
        return None
    limits: Field = table().fields[where][key]
    path = join(where if field is None else field, key)
    found = gather.quantity(at[key], path, limits.kind, default=limits.unit)
    if found is None:
        return None
    if not limits.holds(found.value):
        gather.problems.append(mixups.out_of_range(path, at[key], found, limits, limits.unit))
    return found.value


def _reading(found: object, field: str, air: float, vehicle: Vehicle | None, gather: Gather) -> Reading | None:
    at = gather.table(found, field, KEYS["reading"], ("phase", "point", "quantity"))
    if isinstance(found, Mapping) and "value" not in found:
        gather.add(join(field, "value"), say("nothing"), say("a number, or null for no reading"), say("Missing."))
    words = {key: gather.choice(at, key, field, CHOICES[key]) for key in ("phase", "reference", "statistic")}
    point = gather.choice(at, "point", field, table().read_at())
    quantity = gather.choice(at, "quantity", field, table().quantities)
    instrument = gather.text(at, "instrument", field)
    unit = gather.text(at, "unit", field)
    time = _number(at, "time_s", "reading", gather, field)
    if point is None or quantity is None or words["phase"] is None:
        return None
    if quantity not in table().carries(point):
        allowed = say("{quantities} at {point}", quantities=", ".join(table().carries(point)), point=point)
        gather.add(join(field, "quantity"), quantity, allowed, say("Not read at this point."))
        return None
    read_value = _value(at, field, point, quantity, unit, words["reference"], air, vehicle, gather)
    beside = table().quantities[quantity].unit if read_value is None else read_value[1].unit.symbol
    sigma = _sigma(at, field, quantity, beside, gather)
    if read_value is None:
        return None
    value, written = read_value
    return Reading(
        phase=words["phase"],
        point=point,
        quantity=quantity,
        value=value,
        sigma=sigma,
        statistic=words["statistic"] or "mean",
        instrument=instrument,
        time=time,
        reference=_reference(written, words["reference"]) if quantity == "pressure" else None,
        written=_as_written(at["value"], unit),
        unit=written.unit.symbol,
        field=field,
    )


def _reference(found: Quantity, declared: str | None) -> Literal["gauge", "absolute"]:
    if found.reference is not None:
        return "absolute" if found.reference == "absolute" else "gauge"
    return "absolute" if declared == "absolute" else "gauge"


def _as_written(value: object, unit: str | None) -> str:
    text = written_as(value)
    return f"{text} {unit}" if unit and not any(ch.isalpha() or ch in "%°" for ch in text) else text


def _value(
    at: Mapping[str, Any],
    field: str,
    point: str,
    quantity: str,
    unit: str | None,
    reference: str | None,
    air: float,
    vehicle: Vehicle | None,
    gather: Gather,
) -> tuple[float, Quantity] | None:
    """Return the value in SI, absolute, and the quantity as parsed; None where there is none or it cannot be."""
    if "value" not in at:
        return None
    found = gather.quantity(at["value"], join(field, "value"), table().quantities[quantity].kind, unit)
    if found is None:
        return None
    if quantity == "pressure" and found.reference is not None and reference not in (None, _reference(found, None)):
        says = say("The value says one reference, the key another.")
        gather.add(join(field, "reference"), reference, _reference(found, None), says)
        return None
    value = found.value
    if quantity == "pressure":
        value = absolute(found, air, _reference(found, reference))
    limits = mixups.limits(point, quantity, vehicle)
    if not limits.holds(value):
        problem = mixups.value_cannot_be(join(field, "value"), at["value"], found, value, limits, air, quantity)
        gather.problems.append(problem)
    return value, found


def _sigma(at: Mapping[str, Any], field: str, quantity: str, default: str, gather: Gather) -> float | None:
    """Return one standard deviation in SI from the accuracy, or None where none is given.

    A limit (and a per cent of span is one) says that the error lies inside, no more; the distribution that says just
    that is uniform, and its standard deviation is the half-width over the square root of three (JCGM 100:2008, 4.3.7).
    """
    if at.get("accuracy") is None:
        return None
    where = join(field, "accuracy")
    given = gather.table(at["accuracy"], where, KEYS["accuracy"], ("kind", "value"))
    kind = gather.choice(given, "kind", where, CHOICES["accuracy"])
    unit = gather.text(given, "unit", where)
    measure = table().quantities[quantity].accuracy_kind
    span = None
    if "span" in given:
        span = gather.quantity(given["span"], join(where, "span"), measure, unit, default)
    elif kind == "of_span_pct":
        gather.add(join(where, "span"), say("nothing"), say("the span of the instrument"), say("Missing."))
    if kind is None or "value" not in given:
        return None
    if kind == "of_span_pct":
        share = gather.quantity(given["value"], join(where, "value"), "fraction_difference", default="%")
        bound = None if share is None or span is None else share.value * span.value
    else:
        found = gather.quantity(given["value"], join(where, "value"), measure, unit, default)
        bound = None if found is None else found.value
    if bound is not None and bound <= 0:
        gather.add(join(where, "value"), given["value"], say("more than zero"), say("No instrument is without error."))
        return None
    return bound if bound is None or kind == "one_sigma" else bound / math.sqrt(3)


def _observation(found: object, field: str, gather: Gather) -> Observation | None:
    keys = KEYS["observation"]
    at = gather.table(found, field, keys, keys)
    phase = gather.choice(at, "phase", field, PHASES)
    point = gather.choice(at, "point", field, table().seen_at())
    if point is None:
        return None
    kinds = table().observed(point)
    kind = gather.choice(at, "kind", field, kinds)
    value = gather.choice(at, "value", field, kinds[kind]) if kind is not None else None
    if phase is None or kind is None or value is None:
        return None
    return Observation(phase, point, kind, value, field)
