"""The next checks a technician can make, as cards: what each one reads, how, how safely, and what it would mean."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from graphlib import CycleError, TopologicalSorter
from types import MappingProxyType
from typing import Literal

from loopwright.cards import load_all
from loopwright.circuit.record import FIELDS
from loopwright.errors import CardError
from loopwright.faults.catalogue import AppliesTo, catalogue

__all__ = ["Check", "Gives", "Outcome", "checks"]


@dataclass(frozen=True)
class Gives:
    """One value that a check yields.

    `quantity` is for a reading the contract's quantity, for an observation the contract's kind (felt, seen, airflow),
    for a direct check the field of the circuit record that it reveals. `sigma` is one standard deviation in SI (Pa, K,
    m/s, 1/s, or the field's own unit), zero for an observation. `time` is in s after the phase began, None if settled.
    """

    point: str
    quantity: str
    sigma: float = field(default=0.0, metadata={"low": 0.0, "high": 1e6})
    time: float | None = field(default=None, metadata={"unit": "s", "low": 0.0, "high": 86400.0})


@dataclass(frozen=True)
class Outcome:
    """One result the check may have, what it would mean, and the faults it would point to."""

    result: str
    means: str
    faults: tuple[str, ...]


@dataclass(frozen=True)
class Check:
    """One card: an act, what it yields, the technician's minutes for it with set-up, and its caution.

    `wait_minutes` pass without the technician (a soak). `requires` names checks that must have been made before.
    """

    id: str
    name: str
    kind: Literal["reading", "observation", "direct"]
    phase: Literal["standing", "running", "after_stop"]
    minutes: float = field(metadata={"unit": "min", "low": 0.5, "high": 240.0})
    source: tuple[str, ...]
    note: str
    how: tuple[str, ...]
    caution: str
    gives: tuple[Gives, ...]
    outcomes: tuple[Outcome, ...]
    requires: tuple[str, ...] = ()
    wait_minutes: float = field(default=0.0, metadata={"unit": "min", "low": 0.0, "high": 1440.0})
    applies_to: AppliesTo = field(default=AppliesTo())

    def __post_init__(self) -> None:
        """Refuse a value without its error, an observation with one, and a revealed field that does not exist."""
        for given in self.gives:
            if (given.sigma > 0.0) == (self.kind == "observation"):
                raise ValueError("a sigma above zero for a reading or a direct check, none for an observation")
            if self.kind == "direct" and given.quantity not in FIELDS:
                raise ValueError(f"a field of the circuit record to reveal, not {given.quantity!r}")

    @property
    def point(self) -> str:
        """The point it is made at; the first where it yields several values."""
        return self.gives[0].point

    def applies(self, expansion: str | None = None, compressor: str | None = None) -> bool:
        """Whether this vehicle has the part that it reads; None, an unknown part, rules nothing out.

        >>> checks()["look_clutch"].applies(compressor="electric")
        False
        """
        return self.applies_to.includes(expansion, compressor)


@cache
def checks() -> Mapping[str, Check]:
    """Every check by its id, in alphabetical order.

    Raises
    ------
    CardError : a card is wrong, names a fault or a check that does not exist, or checks require each other in a circle

    >>> checks()["read_vent"].point, checks()["read_vent"].minutes
    ('vent_center', 2.0)
    """
    cards = load_all("loopwright.diagnosis", "checks", Check)
    for card in cards.values():
        for fault in (f for outcome in card.outcomes for f in outcome.faults):
            if fault not in catalogue():
                raise CardError(f"{card.id}: no fault {fault!r}.")
        for other in card.requires:
            if other not in cards:
                raise CardError(f"{card.id}: requires {other!r}, which is no check.")
    try:
        TopologicalSorter({card.id: card.requires for card in cards.values()}).prepare()
    except CycleError as error:
        raise CardError(f"checks require each other: {error.args[1]}") from error
    return MappingProxyType(cards)
