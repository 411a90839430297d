"""What a calculator's form and its sheet are made of; values in SI, the unit to show beside each."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from loopwright.service.uncertain import Uncertain

__all__ = [
    "AIR",
    "Calculator",
    "Field",
    "FieldKind",
    "Line",
    "Pressure",
    "Result",
    "grams",
    "kilopascals",
    "number",
    "sea_level",
    "words",
]

FieldKind = Literal[
    "pressure",
    "absolute_pressure",
    "pressure_difference",
    "temperature",
    "temperature_difference",
    "mass",
    "volume",
    "length",
    "time",
    "fraction",
    "leak_rate",
    "flow",
    "number",
    "choice",
    "flag",
    "text",
    "list",
    "date",
    "series",
    "judgement",
]
RANGES: Mapping[str, tuple[float, float]] = {  # beyond these nobody services a vehicle: a slip, or another unit
    "pressure": (1.0, 2e7),
    "absolute_pressure": (0.01, 2e7),
    "pressure_difference": (0.0, 1e6),
    "temperature": (213.15, 393.15),
    "temperature_difference": (0.0, 20.0),
    "mass": (0.0, 1000.0),
    "volume": (0.0, 1.0),
    "length": (0.0, 9000.0),
    "time": (0.0, 50.0 * 3.15576e7),
    "flow": (1e-6, 0.1),
}
SEA_LEVEL = Uncertain(101325.0, 1700.0)  # Pa; weather moves it by some 3 kPa either way (common practice, no source)


@dataclass(frozen=True)
class Field:
    """One input of a calculator.

    `kind` is what it measures ("pressure" is gauge unless written otherwise, "absolute_pressure" absolute); `unit` what
    a bare number is in; `limit` the half-width [SI] and `relative` the share within which an input without its own "±"
    is taken to lie; `exact` makes it a plain number; `default` is as if written; `choices` for a choice; `least` and
    `most` [SI] narrow what is believed.
    """

    name: str
    kind: FieldKind
    says: str
    unit: str = ""
    required: bool = True
    default: str = ""
    limit: float = 0.0
    relative: float = 0.0
    exact: bool = False
    choices: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None

    @property
    def range(self) -> tuple[float, float]:
        """What a value may be [SI, pressures absolute]: its own bounds, else those of its kind."""
        low, high = RANGES.get(self.kind, (-math.inf, math.inf))
        return low if self.least is None else self.least, high if self.most is None else self.most


@dataclass(frozen=True)
class Pressure:
    """A pressure as read: `reading` is absolute [Pa] with the gauge's uncertainty, `barometer_sigma` [Pa] beside it."""

    reading: Uncertain
    barometer_sigma: float

    @property
    def absolute(self) -> Uncertain:
        """Absolute pressure [Pa] with all of its uncertainty."""
        return Uncertain(self.reading.value, math.hypot(self.reading.sigma, self.barometer_sigma))


@dataclass(frozen=True)
class Line:
    """One result: label, value in SI (or words), its kind of quantity and the unit to show."""

    label: str
    value: Uncertain | str
    kind: str = "text"
    unit: str = ""


@dataclass(frozen=True)
class Result:
    """What a calculator gives: `verdict` one word, `says` sentences, `lines`, keys of sources and of cautions."""

    verdict: str
    says: tuple[str, ...]
    lines: tuple[Line, ...]
    sources: tuple[str, ...]
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Calculator:
    """One calculation: its name as a command, a title, what it answers, its fields, the function from SI to result."""

    name: str
    title: str
    says: str
    fields: tuple[Field, ...]
    run: Callable[[Mapping[str, Any]], Result]


AIR = (
    Field(
        "barometer",
        "absolute_pressure",
        "local air pressure, not reduced to sea level",
        "hPa",
        False,
        limit=100.0,
        least=4e4,
        most=1.1e5,
    ),
    Field("altitude", "length", "altitude, where there is no barometer", "m", False, exact=True, least=-450.0),
)
"""Fields that every calculator with a gauge pressure has; the caller makes `atmosphere` of them."""


def sea_level(given: Mapping[str, Any]) -> Uncertain:
    """Return the local atmosphere [Pa], sea level with its weather where nobody said.

    >>> sea_level({"atmosphere": None}).value
    101325.0
    """
    return given["atmosphere"] or SEA_LEVEL


def grams(label: str, mass: Uncertain) -> Line:
    """Make a line of a mass [kg] in grams."""
    return Line(label, mass, "mass", "g")


def kilopascals(label: str, pressure: Uncertain) -> Line:
    """Make a line of a pressure or difference of pressures [Pa] in kilopascals."""
    return Line(label, pressure, "pressure_difference", "kPa")


def number(label: str, value: Uncertain | float, unit: str) -> Line:
    """Make a line of a value that is in the unit named already.

    >>> number("Margin", 2.5, "").value
    Uncertain(value=2.5, sigma=0.0)
    """
    return Line(label, value if isinstance(value, Uncertain) else Uncertain(value), "number", unit)


def words(label: str, text: str) -> Line:
    """Make a line of words."""
    return Line(label, text)
