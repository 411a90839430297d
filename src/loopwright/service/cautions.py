"""What can hurt, at the service act it belongs to: the cautions of the fault catalogue and those of service."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from loopwright.cards import load
from loopwright.faults.catalogue import Caution
from loopwright.faults.catalogue import cautions as fault_cautions

__all__ = ["cautions"]


@dataclass(frozen=True)
class _Cautions:
    cautions: Mapping[str, Caution]


@cache
def cautions() -> Mapping[str, Caution]:
    """Return every caution by its key.

    Raises
    ------
    CardError : the card is wrong

    >>> print(cautions()["fill_limit"].act)
    Filling a cylinder
    """
    own = load("loopwright.service", "cards/cautions.toml", _Cautions).cautions
    return {**fault_cautions(), **own}
