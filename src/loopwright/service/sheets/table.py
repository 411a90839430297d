"""The calculators by name."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.service.sheets.base import Calculator
from loopwright.service.sheets.mass import CARBON_DIOXIDE, CHARGE, DISCONNECT, HOSE, OIL, RECOVERY
from loopwright.service.sheets.tight import EVACUATION, HOLD, LEAK_RATE, RISE
from loopwright.service.sheets.vessel import CYLINDER, FOREIGN_GAS

__all__ = ["CALCULATORS", "calculator"]

_IN_ORDER = (
    FOREIGN_GAS,
    CYLINDER,
    RECOVERY,
    OIL,
    EVACUATION,
    RISE,
    HOLD,
    LEAK_RATE,
    HOSE,
    CHARGE,
    DISCONNECT,
    CARBON_DIOXIDE,
)
CALCULATORS: Mapping[str, Calculator] = MappingProxyType({c.name: c for c in _IN_ORDER})
"""In the order of a service."""


def calculator(name: str) -> Calculator:
    """Return a calculator by its name.

    Raises
    ------
    InputError : no such calculator

    >>> calculator("hose").title
    'What a hose holds'
    """
    if name not in CALCULATORS:
        raise InputError([Problem("name", repr(name), ", ".join(CALCULATORS), say("No such calculation."))])
    return CALCULATORS[name]
