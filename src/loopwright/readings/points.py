"""The table of points and quantities (`points.toml`) as frozen records; what a sheet may hold is decided here alone."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from types import MappingProxyType
from typing import get_args

from loopwright import cards
from loopwright.quantities import Kind

__all__ = [
    "PHASES",
    "QUANTITIES",
    "STATISTICS",
    "Field",
    "Group",
    "Point",
    "Quantities",
    "Range",
    "Refrigerant",
    "Table",
    "table",
]

PHASES = ("standing", "running", "after_stop")
STATISTICS = ("mean", "minimum", "maximum")
QUANTITIES = ("pressure", "temperature", "relative_humidity", "air_speed", "speed", "duty", "voltage")


@dataclass(frozen=True)
class Range:
    """Limits in SI, pressures absolute: outside `low`..`high` impossible, inside `usual_low`..`usual_high` normal."""

    low: float
    high: float
    usual_low: float
    usual_high: float

    def __post_init__(self) -> None:
        """Refuse limits that are out of order."""
        if not self.low <= self.usual_low < self.usual_high <= self.high:
            raise ValueError("low, usual_low, usual_high, high in rising order")

    def holds(self, value: float) -> bool:
        """Tell whether the value can be at all."""
        return self.low <= value <= self.high

    def usual(self, value: float) -> bool:
        """Tell whether the value is what a vehicle normally shows."""
        return self.usual_low <= value <= self.usual_high


@dataclass(frozen=True)
class Group:
    """Points of one sort: the range of each quantity they may carry, and what hands and eyes may report there."""

    observed: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    pressure: Range | None = None
    temperature: Range | None = None
    relative_humidity: Range | None = None
    air_speed: Range | None = None
    speed: Range | None = None
    duty: Range | None = None
    voltage: Range | None = None

    def carries(self) -> Mapping[str, Range]:
        """Return the quantities that may be read here, each with its range."""
        return self._carried

    @cached_property  # asked for each reading of a sheet, at every point
    def _carried(self) -> Mapping[str, Range]:
        found = {name: limits for name in QUANTITIES if (limits := getattr(self, name)) is not None}
        return MappingProxyType(found)


@dataclass(frozen=True)
class Point:
    """A place on the vehicle: its group, its name in plain words and where to put the hand or the probe."""

    group: str
    name: str
    place: str
    phases: tuple[str, ...] = field(default=PHASES, metadata={"allowed": PHASES})


@dataclass(frozen=True)
class Quantities:
    """A quantity: kind of its units, kind of the units of its error, its SI unit, and the unit to show it in."""

    kind: Kind = field(metadata={"allowed": get_args(Kind)})
    accuracy_kind: Kind = field(metadata={"allowed": get_args(Kind)})
    name: str
    si: str
    unit: str


@dataclass(frozen=True)
class Field(Range):
    """A number that stands outside the readings: its kind, the unit its key ends in, and its range in SI."""

    kind: Kind = field(metadata={"allowed": get_args(Kind)}, kw_only=True)
    unit: str = field(kw_only=True)
    name: str = field(kw_only=True)


@dataclass(frozen=True)
class Refrigerant:
    """A refrigerant: how people write its name, whether a running loop of it is modelled, its highest pressure [Pa]."""

    number: str
    prefixes: tuple[str, ...]
    loop: bool
    pressure_high: float
    also: tuple[str, ...] = ()

    def pattern(self) -> str:
        """Return the regular expression of every accepted spelling, in any case ("R134a", "r-134a", "HFC 134a")."""
        names = [f"(?:{'|'.join(map(_any_case, self.prefixes))})[- ]?{_any_case(self.number)}"]
        return f"^(?:{'|'.join([*names, *map(_any_case, self.also)])})$"


def _any_case(text: str) -> str:
    """Spell out both cases of each letter, because a pattern in a JSON Schema knows no flags."""
    return "".join(f"[{ch.upper()}{ch.lower()}]" if ch.isalpha() else ch for ch in text)


@dataclass(frozen=True)
class Table:
    """The whole of `points.toml`."""

    groups: Mapping[str, Group]
    points: Mapping[str, Point]
    quantities: Mapping[str, Quantities]
    fields: Mapping[str, Mapping[str, Field]]
    refrigerants: Mapping[str, Refrigerant]

    def __post_init__(self) -> None:
        """Refuse a point without its group and a missing quantity."""
        if missing := {p.group for p in self.points.values()} - set(self.groups):
            raise ValueError(f"groups that exist, not {sorted(missing)}")
        if set(self.quantities) != set(QUANTITIES):
            raise ValueError(f"the quantities {', '.join(QUANTITIES)}")

    def carries(self, point: str) -> Mapping[str, Range]:
        """Return the quantities that may be read at a point, each with its range."""
        return self.groups[self.points[point].group].carries()

    def observed(self, point: str) -> Mapping[str, tuple[str, ...]]:
        """Return what may be reported at a point: kind of observation to its allowed values."""
        return self.groups[self.points[point].group].observed

    def refrigerant(self, written: str) -> str | None:
        """Return the one name of a refrigerant for any accepted spelling, or None.

        >>> table().refrigerant("r-134a"), table().refrigerant("R22")
        ('R134a', None)
        """
        return next((name for name, r in self.refrigerants.items() if re.fullmatch(r.pattern(), written)), None)

    def read_at(self) -> tuple[str, ...]:
        """Return the points that may carry a reading."""
        return self._read_at

    @cached_property
    def _read_at(self) -> tuple[str, ...]:
        return tuple(point for point in self.points if self.carries(point))

    def seen_at(self) -> tuple[str, ...]:
        """Return the points that may carry an observation."""
        return tuple(point for point in self.points if self.observed(point))


@cache
def table() -> Table:
    """Return the table of points and quantities.

    Raises
    ------
    CardError : the table is wrong

    >>> sorted(table().carries("vent_center"))
    ['air_speed', 'relative_humidity', 'temperature']
    """
    found = cards.load("loopwright.readings", "points.toml", Table)
    assert all(f.name in QUANTITIES or f.name == "observed" for f in dataclasses.fields(Group))
    return found
