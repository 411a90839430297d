"""Mass of carbon dioxide with the same warming over 100 years; never without the report that the factor is from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Literal

from loopwright.cards import load
from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.service.properties import designation
from loopwright.service.uncertain import Uncertain, propagate

__all__ = ["Equivalent", "Report", "carbon_dioxide_equivalent", "reports"]

ReportName = Literal["TAR", "AR4", "AR5", "AR6"]


@dataclass(frozen=True)
class Report:
    """Factors of one report; those of `below` are upper bounds; `read` names a source of its own for a factor."""

    words: str
    source: tuple[str, ...]
    gwp: Mapping[str, float] = field(metadata={"unit": "1", "low": 0.0, "high": 30000.0})
    below: tuple[str, ...] = ()
    read: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class _Reports:
    reports: Mapping[str, Report]


@dataclass(frozen=True)
class Equivalent:
    """Carbon dioxide equivalent [kg], an upper bound if `at_most`; factor, report and the key of its source."""

    mass: Uncertain
    gwp: float
    at_most: bool
    report: str
    words: str
    source: str


@cache
def reports() -> Mapping[str, Report]:
    """Return the assessment reports by name.

    >>> list(reports())
    ['TAR', 'AR4', 'AR5', 'AR6']
    """
    return load("loopwright.service", "cards/gwp.toml", _Reports).reports


def carbon_dioxide_equivalent(mass: Uncertain, refrigerant: str, report: ReportName) -> Equivalent:
    """Return the carbon dioxide equivalent of a mass [kg] of refrigerant by a named report.

    The factor's own uncertainty (tens of per cent) is not in sigma: law and inventories use it as exact.

    Raises
    ------
    InputError : no such report, or the report has no factor for the refrigerant

    >>> round(carbon_dioxide_equivalent(Uncertain(0.55), "R-134a", "AR4").mass.value, 1)
    786.5
    """
    found = reports().get(report)
    if found is None:
        raise InputError([Problem("report", repr(report), ", ".join(reports()), say("No such assessment report."))])
    name = designation(refrigerant)
    if name not in found.gwp:
        says = say("{report} has no factor for it here.", report=report)
        raise InputError([Problem("refrigerant", repr(refrigerant), ", ".join(found.gwp), says)])
    gwp = found.gwp[name]
    source = found.read.get(name, found.source[0])
    scaled = propagate(lambda m: m * gwp, mass)
    return Equivalent(scaled, gwp, name in found.below, report, found.words, source)
