"""What the law asks to be recorded, as cards: one a jurisdiction, each rule in plain words, with how sure we are."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from types import MappingProxyType

from loopwright.cards import load_all, sources
from loopwright.errors import InputError, Problem
from loopwright.language import later, say

__all__ = ["NEEDS", "Jurisdiction", "Rule", "how_sure", "jurisdiction", "jurisdictions"]

NEEDS = ("equipment", "sent", "operators", "quarters")
_SURE = {
    "page": later("read in a public page"),
    "repository": later("read in a public repository"),
    "memory": later("from memory, not read"),
    "computed": later("computed"),
    "practice": later("common practice, no source"),
}


@dataclass(frozen=True)
class Rule:
    """One duty: where it stands, what it asks in our words, and which tables of the ledger answer it."""

    provision: str
    asks: str
    needs: tuple[str, ...] = field(metadata={"allowed": NEEDS})
    source: str | tuple[str, ...]


@dataclass(frozen=True)
class Jurisdiction:
    """The duties of one jurisdiction; `keep_years` is 0 where it is not known how long records are kept."""

    id: str
    title: str
    source: tuple[str, ...]
    keep_years: int = field(metadata={"unit": "years", "low": 0, "high": 100})
    rules: tuple[Rule, ...]
    note: str = ""


@cache
def jurisdictions() -> MappingProxyType[str, Jurisdiction]:
    """Every jurisdiction by its id.

    >>> jurisdictions()["us_federal"].keep_years
    3
    """
    return MappingProxyType(load_all("loopwright.ledger", "jurisdictions", Jurisdiction))


def jurisdiction(name: str) -> Jurisdiction:
    """One jurisdiction.

    Raises
    ------
    InputError : there is no card for it; names those that there are
    """
    if name not in jurisdictions():
        raise InputError([Problem("jurisdiction", name, ", ".join(jurisdictions()), say("There is no card for it."))])
    return jurisdictions()[name]


def how_sure(rule: Rule) -> tuple[str, ...]:
    """What a rule rests on, source by source, and how each reached us."""
    keys = (rule.source,) if isinstance(rule.source, str) else rule.source
    return tuple(f"{sources()[key].citation} ({say(_SURE[sources()[key].obtained])})" for key in keys)
