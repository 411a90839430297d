"""In whose terms a value is shown: the units of the person who wrote the sheet, and SI where they wrote none."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from loopwright.diagnosis.judgement import Expected, Interval
from loopwright.language import decimal, decimal_mark, say
from loopwright.quantities import Kind, find_unit, from_si
from loopwright.readings import Test, table

__all__ = ["SI", "Shown", "Terms"]

Key = tuple[str, str, str]
_DIFFERENCE: Mapping[Kind, Kind] = {"pressure": "pressure_difference", "temperature": "temperature_difference"}


@dataclass(frozen=True)
class Shown:
    """A unit to show in; `gauge` tells that a pressure is shown above the atmosphere."""

    symbol: str
    gauge: bool = False


@dataclass(frozen=True)
class Terms:
    """Units by reading (phase, point, quantity) and by quantity, and what the sheet says of vehicle and weather.

    `label` and `weather` are plain words for a headline, empty where they are not known.
    """

    by_reading: Mapping[Key, Shown] = field(default_factory=dict)
    by_quantity: Mapping[str, Shown] = field(default_factory=dict)
    label: str = ""
    weather: str = ""

    @classmethod
    def of(cls, test: Test) -> Terms:
        """Take the terms of a sheet: each reading keeps its unit; others of its quantity follow the first written.

        >>> from loopwright.readings import read
        >>> sheet = {"schema": 1, "vehicle": {"refrigerant": "R134a"}, "weather": {"air_temperature_c": 31},
        ...     "readings": [{"phase": "running", "point": "low_side", "quantity": "pressure", "value": "30 psi"}]}
        >>> Terms.of(read(sheet)).shown("running", "high_side", "pressure")
        Shown(symbol='psi', gauge=True)
        """
        by_reading: dict[Key, Shown] = {}
        by_quantity: dict[str, Shown] = {}
        for reading in test.readings:
            if not reading.unit:
                continue
            shown = Shown(_plain(reading.unit, reading.quantity), reading.reference == "gauge")
            by_reading.setdefault((reading.phase, reading.point, reading.quantity), shown)
            by_quantity.setdefault(reading.quantity, shown)
        return cls(by_reading, by_quantity, test.vehicle.label, _weather(test))

    def shown(self, phase: str, point: str, quantity: str) -> Shown:
        """Return the unit for one reading: as written there, else as that quantity was first written, else SI."""
        return self.by_reading.get((phase, point, quantity)) or self.unit(quantity)

    def unit(self, quantity: str) -> Shown:
        """Return the unit for a quantity: as first written, else SI with gauge pressure."""
        return self.by_quantity.get(quantity) or Shown(table().quantities[quantity].unit, quantity == "pressure")

    def difference(self) -> str:
        """Return the unit for temperature differences: K, or °F for a person who writes °F."""
        return "°F" if self.unit("temperature").symbol == "°F" else "K"


SI = Terms()


def _plain(unit: str, quantity: str) -> str:
    return find_unit(unit, table().quantities[quantity].kind)[0].symbol


def _weather(test: Test) -> str:
    unit = Terms(by_quantity=_first_unit(test)).unit("temperature").symbol
    air = f"{from_si(test.weather.air_temperature, 'temperature', unit):.0f} {unit}"
    humidity = test.weather.relative_humidity
    if humidity is None:
        return air
    return say("{air} and {humidity:.0f} % humidity", air=air, humidity=100 * humidity)


def _first_unit(test: Test) -> dict[str, Shown]:
    found = [r.unit for r in test.readings if r.quantity == "temperature" and r.unit]
    return {"temperature": Shown(_plain(found[0], "temperature"))} if found else {}


@dataclass(frozen=True)
class Row:
    """One expected reading in the person's unit: numbers for geometry, text for the eye."""

    low: float
    median: float
    high: float
    measured: float | None
    unit: str
    ends: tuple[str, str]
    value: str

    @property
    def band(self) -> str:
        """The band as text, so that a minus sign cannot be taken for the dash."""
        return (say(" to ") if self.low < 0 else "–").join(self.ends)


def row(expected: Expected, terms: Terms, atmosphere: float) -> Row:
    """Put an expected reading (SI, absolute) into the person's terms; `atmosphere` [Pa] turns absolute into gauge.

    Raises
    ------
    InputError : the terms name a unit that does not fit the quantity
    """
    shown = terms.shown(expected.phase, expected.point, expected.quantity)
    kind = table().quantities[expected.quantity].kind
    base = atmosphere if shown.gauge and kind == "pressure" else 0.0

    def turn(value: float) -> float:
        return from_si(value - base, kind, shown.symbol)

    low, median, high = (turn(v) for v in (expected.interval.low, expected.interval.median, expected.interval.high))
    measured = None if expected.measured is None else turn(expected.measured)
    decimals = places(high - low, shown.symbol, kind)
    value = "" if measured is None else _typed(measured, find_unit(shown.symbol, kind)[0].decimals)
    return Row(low, median, high, measured, shown.symbol, (number(low, decimals), number(high, decimals)), value)


def places(width: float, unit: str, kind: Kind) -> int:
    """Decimals that a number deserves when it is uncertain by `width` (same unit): about a tenth of the width.

    >>> places(30.0, "kPa", "pressure"), places(1.5, "bar", "pressure"), places(4.0, "°C", "temperature")
    (0, 1, 1)
    """
    if width <= 0.0:
        return find_unit(unit, kind)[0].decimals
    return min(max(0, math.ceil(-math.log10(width / 10.0))), find_unit(unit, kind)[0].decimals)


def number(value: float, decimals: int) -> str:
    """Write a number with the language's decimal mark, never as minus zero.

    >>> number(-0.04, 1), number(1180.2, 0)
    ('0.0', '1180')
    """
    return decimal(value, decimals)


def interval(of: Interval, kind: Kind, unit: str) -> str:
    """Write an interval of SI values in a unit: the median, then where it may lie.

    >>> interval(Interval(8.0, 10.04, 13.0), "temperature_difference", "K")
    '10 K (8 to 13)'
    """
    low, median, high = (from_si(v, kind, unit) for v in (of.low, of.median, of.high))
    decimals = min(places(high - low, unit, kind), 0 if high - low >= 4 else 1)
    symbol = "" if unit == "1" else f" {find_unit(unit, kind)[0].symbol}"
    ends = {"low": number(low, decimals), "high": number(high, decimals)}
    return say("{median}{unit} ({low} to {high})", median=number(median, decimals), unit=symbol, **ends)


def _typed(value: float, decimals: int) -> str:
    text = number(value, decimals)
    mark = decimal_mark()
    return text.rstrip("0").rstrip(mark) if mark in text else text
