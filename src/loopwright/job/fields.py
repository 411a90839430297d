"""The one list of what a job page can ask, and where each answer goes in a test sheet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from loopwright.language import later
from loopwright.readings import table
from loopwright.readings.points import PHASES, STATISTICS
from loopwright.readings.read import CHOICES

__all__ = ["Field", "test_field", "test_fields", "vehicle_fields"]


@dataclass(frozen=True)
class Field:
    """One thing to write down.

    `kind` is the kind of its units ("pressure", "temperature", ...), or "choice" or "text"; `unit` what is taken where
    the person wrote none; `path` its place in the sheet ("weather.air_temperature_c"), empty for a reading, an
    observation, or what the sheet does not hold.
    """

    key: str
    kind: str
    name: str
    unit: str = ""
    choices: tuple[str, ...] = ()
    path: str = ""
    phase: str = ""
    point: str = ""
    quantity: str = ""
    statistic: str = "mean"

    @property
    def is_reading(self) -> bool:
        """Whether it is a reading of an instrument."""
        return bool(self.quantity)

    @property
    def is_observation(self) -> bool:
        """Whether it is what hands, eyes or ears report."""
        return bool(self.point) and not self.quantity


_WORDS = {
    "refrigerant": later("Refrigerant"),
    "expansion": later("Expansion device"),
    "storage": later("Receiver or accumulator"),
    "compressor": later("Compressor"),
    "high_port": later("High-side fitting sits on"),
    "blower": later("Blower"),
    "air": later("Air"),
}
_RECORDS = {  # of the vehicle, kept for people and not part of a judgement
    "label": later("Vehicle"),
    "plate": later("Plate"),
    "vin": later("VIN"),
    "odometer": later("Odometer"),
    "oil": later("Oil on the label"),
    "customer": later("Customer"),
    "phone": later("Telephone"),
    "complaint": later("What the customer says"),
}

_INSTRUMENTS = {
    "gauges": later("Gauges"),
    "gauge_accuracy": later("Gauges read true within"),
    "thermometer": later("Thermometer"),
}


@cache
def vehicle_fields() -> Mapping[str, Field]:
    """Return the fields of the vehicle by key.

    >>> vehicle_fields()["charge"].path, vehicle_fields()["expansion"].choices
    ('vehicle.charge_g', ('thermostatic', 'orifice'))
    """
    found = [Field(key, "text", name, path="vehicle.label" if key == "label" else "") for key, name in _RECORDS.items()]
    found.append(_choice("refrigerant", "vehicle", tuple(table().refrigerants)))
    found += [_choice(key, "vehicle", CHOICES[key]) for key in ("expansion", "storage", "compressor", "high_port")]
    found += [_number("vehicle", key) for key in table().fields["vehicle"]]
    return {field.key: field for field in found}


@cache
def test_fields() -> Mapping[str, Field]:
    """Return the fields of one test by key: weather, conditions, readings and observations.

    >>> test_fields()["running.low_side.pressure"].unit, test_fields()["air_temperature"].path
    ('kPa', 'weather.air_temperature_c')
    >>> test_fields()["running.low_side.pressure.minimum"].statistic
    'minimum'
    """
    found = [_number(where, key) for where in ("weather", "test") for key in table().fields[where]]
    found += [_choice(key, "test", CHOICES[key]) for key in ("blower", "air")]
    found += [Field(key, "text", name) for key, name in _INSTRUMENTS.items()]
    for phase in PHASES:
        for point in table().points:
            found += _at(phase, point)
    return {field.key: field for field in found}


def test_field(key: str) -> Field | None:
    """Return a field of a test by its key, None where there is none."""
    return test_fields().get(key)


def _choice(key: str, where: str, choices: tuple[str, ...]) -> Field:
    return Field(key, "choice", _WORDS[key], choices=choices, path=f"{where}.{key}")


def _number(where: str, key: str) -> Field:
    field = table().fields[where][key]
    plain = "minutes_running" if key == "minutes_running" else key.rpartition("_")[0]
    return Field(plain, field.kind, field.name, field.unit, path=f"{where}.{key}")


def _at(phase: str, point: str) -> list[Field]:
    name = table().points[point].name
    found = []
    for quantity in table().carries(point):
        about = table().quantities[quantity]
        for statistic in STATISTICS:
            key = f"{phase}.{point}.{quantity}" + ("" if statistic == "mean" else f".{statistic}")
            field = Field(key, about.kind, name, about.unit, (), "", phase, point, quantity, statistic)
            found.append(field)
    for kind, values in table().observed(point).items():
        found.append(Field(f"{phase}.{point}.{kind}", "choice", name, choices=values, phase=phase, point=point))
    return found
