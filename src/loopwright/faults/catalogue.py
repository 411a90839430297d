"""The fault catalogue: what each fault bends in the circuit, how often and how far, and what it is like in the bay."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from types import MappingProxyType
from typing import Literal, TypeVar

import numpy as np

from loopwright.cards import load, load_all
from loopwright.circuit.record import FIELDS
from loopwright.errors import CardError
from loopwright.language import say

__all__ = [
    "AppliesTo",
    "Bend",
    "Caution",
    "Fault",
    "Fixed",
    "Proof",
    "Resembles",
    "Severity",
    "Variant",
    "catalogue",
    "cautions",
]

Number = TypeVar("Number", float, np.ndarray)

_FACTOR = {"multiply": 1.0, "set": 1.0, "add": 1.0, "set_grams": 1e-3, "set_kpa": 1e3}
_EXPANSIONS = ("thermostatic", "orifice")
_COMPRESSORS = ("fixed", "variable", "electric")


@dataclass(frozen=True)
class AppliesTo:
    """The vehicles that can have it, by expansion device and by compressor."""

    expansion: tuple[str, ...] = field(default=_EXPANSIONS, metadata={"allowed": _EXPANSIONS})
    compressor: tuple[str, ...] = field(default=_COMPRESSORS, metadata={"allowed": _COMPRESSORS})

    def includes(self, expansion: str | None = None, compressor: str | None = None) -> bool:
        """Whether it can occur on this vehicle; None, an unknown part, rules nothing out.

        >>> AppliesTo(compressor=("variable",)).includes("orifice", "fixed")
        False
        >>> AppliesTo(compressor=("variable",)).includes("orifice", None)
        True
        """
        return (expansion is None or expansion in self.expansion) and (
            compressor is None or compressor in self.compressor
        )


@dataclass(frozen=True)
class Severity:
    """How bad it can be: the quantity of the published contract, its healthy value and its prior between two bounds."""

    quantity: str
    unit: str
    healthy: float
    distribution: Literal["uniform", "log_uniform"]
    low: float
    high: float

    def __post_init__(self) -> None:
        """Refuse an empty range."""
        if not self.low < self.high:
            raise ValueError("low below high")
        if self.distribution == "log_uniform" and self.low <= 0.0:
            raise ValueError("a log-uniform range above zero")


@dataclass(frozen=True)
class Bend:
    """How the severity enters one field of the circuit record."""

    field: str
    how: Literal["multiply", "set", "add", "set_grams", "set_kpa"]

    def __post_init__(self) -> None:
        """Refuse a field that the circuit record does not have."""
        _check_field(self.field)

    def value(self, healthy: Number, severity: Number) -> Number:
        """Value of the field, in the record's unit, from its healthy value and the severity in the severity's unit.

        >>> Bend("charge", "multiply").value(0.6, 0.5)
        0.3
        >>> Bend("high_gauge_offset", "set_kpa").value(0.0, -50.0)
        -50000.0
        """
        applied = severity * _FACTOR[self.how]
        if self.how == "multiply":
            return healthy * applied
        return healthy + applied if self.how == "add" else applied


@dataclass(frozen=True)
class Fixed:
    """A field of the circuit record that the fault sets whatever its severity, in the record's unit."""

    field: str
    value: float

    def __post_init__(self) -> None:
        """Refuse a field that the circuit record does not have."""
        _check_field(self.field)


@dataclass(frozen=True)
class Variant:
    """One physical form of a fault: where it sits, or its sign.

    `weight` is its share among the variants that a vehicle can have; `point` is where a gauge is wrong. `low` and
    `high` narrow the fault's severity range.
    """

    name: str = ""
    weight: float = field(default=1.0, metadata={"low": 0.0, "high": 1.0, "unit": "1"})
    bends: tuple[Bend, ...] = ()
    fixed: tuple[Fixed, ...] = ()
    applies_to: AppliesTo = AppliesTo()
    low: float | None = None
    high: float | None = None
    point: str = ""


@dataclass(frozen=True)
class Caution:
    """What can hurt, and at which act; an empty tuple means every refrigerant or compressor."""

    act: str
    says: str
    source: tuple[str, ...]
    compressor: tuple[str, ...] = field(default=(), metadata={"allowed": _COMPRESSORS})
    refrigerant: tuple[str, ...] = ()

    def applies(self, refrigerant: str | None = None, compressor: str | None = None) -> bool:
        """Whether it concerns this vehicle; None, not known, keeps the caution.

        >>> Caution("Orange cables", "Keep off.", (), compressor=("electric",)).applies("R134a", "fixed")
        False
        """
        kind = not self.compressor or compressor is None or compressor in self.compressor
        return kind and (not self.refrigerant or refrigerant is None or refrigerant in self.refrigerant)

    def __str__(self) -> str:
        """Return act and caution on one line, in the language spoken."""
        return f"{say(self.act)}: {say(self.says)}"


@dataclass(frozen=True)
class Resembles:
    """Another fault that looks like it, and what tells the two apart."""

    fault: str
    tell_apart: str


@dataclass(frozen=True)
class Proof:
    """An act that settles it, and the result that proves this fault."""

    act: str
    result: str


@dataclass(frozen=True)
class Fault:
    """One card of the catalogue.

    `name` is used inside sentences. `prior_weight` is relative to the other cards, healthy included. `severity` is None
    where there is no "how bad". `cautions` are keys of the table that `cautions()` returns.
    """

    id: str
    name: str
    prior_weight: float = field(metadata={"low": 0.0, "high": 100.0, "unit": "1"})
    source: tuple[str, ...]
    note: str
    plain: str
    looks: tuple[str, ...]
    sounds: tuple[str, ...]
    feels: tuple[str, ...]
    repair: tuple[str, ...]
    cautions: tuple[str, ...]
    resembles: tuple[Resembles, ...]
    proves: tuple[Proof, ...]
    variants: tuple[Variant, ...]
    severity: Severity | None = None
    applies_to: AppliesTo = AppliesTo()

    def __post_init__(self) -> None:
        """Refuse a severity that bends nothing, and a bend without a severity."""
        if any(v.bends for v in self.variants) != (self.severity is not None):
            raise ValueError("a severity exactly where a variant bends a field by it")

    def severity_of(self, variant: Variant) -> Severity | None:
        """Severity over the variant's own range, in the severity's unit; None where there is no "how bad".

        >>> fault = catalogue()["expansion_stuck_open"]
        >>> [(s.low, s.high) for s in map(fault.severity_of, fault.variants) if s]
        [(0.45, 1.0), (1.3, 3.0)]
        """
        if self.severity is None:
            return None
        low = self.severity.low if variant.low is None else variant.low
        high = self.severity.high if variant.high is None else variant.high
        return replace(self.severity, low=low, high=high)

    def applies(self, expansion: str | None = None, compressor: str | None = None) -> bool:
        """Whether some form of it can occur on this vehicle; None, an unknown part, rules nothing out.

        >>> catalogue()["compressor_low_stroke"].applies("orifice", "fixed")
        False
        """
        return bool(self.variants_for(expansion, compressor))

    def variants_for(self, expansion: str | None = None, compressor: str | None = None) -> tuple[Variant, ...]:
        """Variants that this vehicle can have (none if the fault does not apply), weights scaled to add up to one.

        >>> [v.weight for v in catalogue()["compressor_low_stroke"].variants_for(compressor="fixed")]
        []
        """
        if not self.applies_to.includes(expansion, compressor):
            return ()
        fitting = [v for v in self.variants if v.applies_to.includes(expansion, compressor)]
        total = sum(v.weight for v in fitting)
        return tuple(replace(v, weight=v.weight / total) for v in fitting)


@dataclass(frozen=True)
class _Cautions:
    cautions: Mapping[str, Caution]


@cache
def cautions() -> Mapping[str, Caution]:
    """Every caution by its key; each is written once and named by the cards that need it.

    Raises
    ------
    CardError : the card is wrong

    >>> print(cautions()["hoses_clear"])
    Before the engine starts: Keep hoses, leads, sleeves and hands clear of belts and fans.
    """
    return load("loopwright.faults", "cautions.toml", _Cautions).cautions


@cache
def catalogue() -> Mapping[str, Fault]:
    """Every fault by its id, healthy first, then in alphabetical order.

    Raises
    ------
    CardError : a card is wrong, or names a fault or a caution that does not exist

    >>> catalogue()["undercharge"].name
    'short of refrigerant'
    """
    cards = load_all("loopwright.faults", "catalogue", Fault)
    for card in cards.values():
        _check_references(card, cards)
    ordered = {"healthy": cards["healthy"]} | cards
    return MappingProxyType(ordered)


def _check_references(card: Fault, cards: Mapping[str, Fault]) -> None:
    for other in card.resembles:
        if other.fault not in cards or other.fault == card.id:
            raise CardError(f"{card.id}: resembles {other.fault!r}, which is no other fault of the catalogue.")
    for key in card.cautions:
        if key not in cautions():
            raise CardError(f"{card.id}: no caution {key!r}.")


def _check_field(name: str) -> None:
    if name not in FIELDS:
        raise ValueError(f"a field of the circuit record, not {name!r}")
