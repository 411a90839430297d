"""What a judgement is: frozen values in SI, absolute pressures; `api.wire` gives them their published form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

__all__ = [
    "Cause",
    "Expected",
    "Fit",
    "Interval",
    "Judgement",
    "NextCheck",
    "PlanePoint",
    "Severity",
    "Speaks",
    "Verdict",
]

Verdict = Literal["performs", "marginal", "does_not_perform", "cannot_say"]


@dataclass(frozen=True)
class Interval:
    """A central credible interval: `level` of the probability lies between `low` and `high`."""

    low: float
    median: float
    high: float
    level: float = 0.9


@dataclass(frozen=True)
class Severity:
    """How bad: the fault's own quantity (see the fault's card), its unit, its interval; `point` for a gauge offset."""

    quantity: str
    unit: str
    interval: Interval
    point: str | None = None


@dataclass(frozen=True)
class Speaks:
    """What one reading says for or against a cause: `nats` of log-likelihood against the best other explanation."""

    point: str
    phase: str
    nats: float
    says: str


@dataclass(frozen=True)
class Cause:
    """One possible cause with its probability; `also` names causes that the readings cannot tell from it."""

    fault: str
    probability: float
    severity: Severity | None
    speaks_for: tuple[Speaks, ...] = ()
    speaks_against: tuple[Speaks, ...] = ()
    alike: tuple[str, ...] = ()
    also: str | None = None


@dataclass(frozen=True)
class Expected:
    """The band in which one reading should lie on this vehicle, healthy, in this weather; SI, absolute pressure.

    `measured` is the reading in the same terms, or None where nothing was read there yet, and `sigma` its instrument's
    standard error. `rule` is the trade's rule of
    thumb for it as a plain sentence, or empty.
    """

    phase: str
    point: str
    quantity: str
    unit: str
    interval: Interval
    measured: float | None = None
    statistic: str = "mean"
    rule: str = ""
    sigma: float = 0.0


@dataclass(frozen=True)
class NextCheck:
    """A check worth making: expected information in bits, minutes it takes, the causes it would tell apart."""

    check: str
    point: str
    minutes: float
    information: float
    splits: tuple[str, ...]
    how: str
    caution: str


@dataclass(frozen=True)
class Fit:
    """How well the readings are explained: effective samples, log evidence a class, tail probability of the misfit."""

    effective_samples: float
    log_evidence: Mapping[str, float]
    misfit_probability: float


@dataclass(frozen=True)
class PlanePoint:
    """A corner of the cycle in the pressure-enthalpy plane: absolute pressure in Pa, specific enthalpy in J/kg."""

    name: str
    pressure: float
    enthalpy: float


@dataclass(frozen=True)
class Judgement:
    """The answer to one test sheet.

    `states` holds intervals by name: evaporating_temperature and condensing_temperature [K], superheat and subcooling
    [K], cooling_capacity [W], charge [kg]. `cycle` is the cycle that the readings tell of, `healthy_cycle` the one this
    vehicle should show today; both are empty when nothing can be said. `ambient_pressure` [Pa] turns absolute into
    gauge.
    """

    id: str
    engine: str
    seed: int
    seconds: float
    verdict: Verdict
    reasons: tuple[str, ...]
    settled: bool
    settled_why: str
    causes: tuple[Cause, ...]
    states: Mapping[str, Interval]
    expected: tuple[Expected, ...]
    next_checks: tuple[NextCheck, ...]
    fit: Fit
    cautions: tuple[str, ...]
    ambient_pressure: float
    refrigerant: str
    cycle: tuple[PlanePoint, ...] = ()
    healthy_cycle: tuple[PlanePoint, ...] = ()
    healthy_cycles: tuple[tuple[PlanePoint, ...], ...] = ()
    sources: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
