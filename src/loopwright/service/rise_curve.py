"""The standing rise after evacuation, read as leak, free water, desorption, some of these, or nothing visible.

Model, with the valve to the pump shut: p(t) = a + b t + c (1 - exp(-t / tau)). A leak is a straight line, since the
atmosphere is so far above that its flow does not change. Free water flattens at its pressure at the coldest part. What
leaves oil, desiccant and walls flattens lower. Six classes are compared by their evidence: the likelihood of the
readings averaged over the prior of each class. The level a and the drift of gauge and temperature (straight and bent)
are integrated in closed form, b and c by Gauss-Legendre nodes around their peak, tau and the noise on grids.

Priors, all stated so that they can be disputed: classes alike; b and the c of desorption log-uniform from the smallest
that these readings could show (3.29 sigma, Currie 1968) upwards, so that a class means "this was there to be seen, and
nothing more"; c of free water such that the curve ends at the water pressure of the coldest part; tau log-uniform from
15 s to 1 h, beside a leak only as far as it still bends. The interval of a lone leak allows for an exponential too
small or slow to be seen.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, NamedTuple

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.service.properties import water_pressure
from loopwright.service.rise_record import Array, Products, Record, VacuumGauge
from loopwright.service.uncertain import Uncertain, propagate

__all__ = ["CLASSES", "Estimate", "RiseClass", "RiseFit", "VacuumGauge", "fit_rise"]

RiseClass = Literal["neither", "leak", "moisture", "desorption", "leak_and_moisture", "leak_and_desorption"]
_Weighed = RiseClass | Literal["leak_and_hidden"]
CLASSES: tuple[RiseClass, ...] = (
    "neither",
    "leak",
    "moisture",
    "desorption",
    "leak_and_moisture",
    "leak_and_desorption",
)
CLAIM = 0.90  # probability from which a class is named
DETECTION = 3.29  # sigma, 5 % false claims and 5 % missed (Currie 1968)
TAU_LOW, TAU_HIGH = 15.0, 3600.0  # s
FASTEST_LEAK = 100.0  # Pa/s: 3 L would be at a third of the atmosphere within 6 min
DESORPTION_TOP = 0.6  # of the water pressure; nearer to it, free water is the simpler reading
NOISE_FACTORS = (0.7, 1.0, 1.4, 2.2)  # how wrong the stated gauge noise may be
DRIFT_FACTORS = (0.4, 0.7, 1.2)  # how much of the stated wandering took place; alike
NOISE_SPREAD = 0.4  # of the logarithm of that factor
MISFIT = 3.0  # residual over stated noise from which no class explains the curve
NODES, REACH = 12, 5.5  # Gauss-Legendre nodes over so many sigma either way
TAUS, REFINEMENTS, KEEP = (
    20,
    10,
    12.0,
)  # grid of tau, how often at most it closes in on what lies within KEEP nats of the peak
FEWEST = 6  # readings


class Estimate(NamedTuple):
    """An interval that holds the value with 90 % probability, and its median."""

    low: float
    median: float
    high: float


@dataclass(frozen=True)
class RiseFit:
    """What a rise curve tells.

    `verdict` is a class of at least `CLAIM` probability, else "cannot_tell" with its `reason`; `probabilities` by
    class; `leak` [Pa m3/s of air], `rise` c [Pa] and `tau` [s] within the likeliest class that has them;
    `smallest_leak` [Pa m3/s] that the record could have shown if nothing else rises, `smallest_leak_hidden` if
    something else does; `misfit` is the residual over the gauge's noise.
    """

    verdict: RiseClass | Literal["cannot_tell"]
    reason: str
    probabilities: Mapping[RiseClass, float]
    log_evidence: Mapping[RiseClass, float] = field(repr=False)
    leak: Estimate | None
    rise: Estimate | None
    tau: Estimate | None
    smallest_leak: float
    smallest_leak_hidden: float
    water_pressure: Uncertain
    misfit: float

    def probability(self, part: Literal["leak", "moisture", "desorption"]) -> float:
        """Probability that a part is there, alone or with another."""
        return sum(p for name, p in self.probabilities.items() if part in name)


def fit_rise(
    times: Sequence[float],
    pressures: Sequence[float],
    gauge: VacuumGauge,
    volume: Uncertain,
    coldest_temperature: Uncertain,
    temperature_drift: float = 0.5,
) -> RiseFit:
    """Fit a standing rise curve and weigh what can have made it.

    Parameters
    ----------
    times : since the valve to the pump was shut [s], rising; at least six
    pressures : absolute [Pa], from a gauge on the system side of the valve
    gauge : what it can show
    volume : of the circuit and hoses on that side [m3]
    coldest_temperature : of the coldest part [K]
    temperature_drift : how far the temperature may have wandered during the record [K, one sigma]

    Source: the model is common practice (leak straight, water flat, desorption lower); the comparison is Bayesian.

    Raises
    ------
    InputError : too few readings, times that do not rise, pressures or sizes not above zero

    >>> t = [30.0 * i for i in range(41)]
    >>> straight = [200.0 + 0.5 * x for x in t]
    >>> f = fit_rise(t, straight, VacuumGauge(2.0, 1.0), Uncertain(3e-3, 3e-4), Uncertain(293.15, 1.0))
    >>> f.verdict, round(f.leak.median * 1e3, 1)
    ('leak', 1.5)
    """
    import numpy as np

    t, y = np.asarray(times, dtype=float), np.asarray(pressures, dtype=float)
    _check(t, y, gauge, volume)
    water = propagate(water_pressure, coldest_temperature)
    dry = Record.of(t, y, gauge, temperature_drift, 0.0)
    wet = Record.of(t, y, gauge, temperature_drift, water.value)
    records = {name: wet if "moisture" in name else dry for name in CLASSES}
    priors = _Priors.of(dry, water)
    parts = {name: _weigh(records[name], priors, name) for name in CLASSES}
    probabilities = _probabilities({name: part.log_evidence for name, part in parts.items()})
    best = max(CLASSES, key=lambda name: probabilities[name])
    misfit = _misfit(records[best], parts[best])
    verdict, reason = _verdict(probabilities, best, misfit)
    leak_class = _likeliest(probabilities, "leak")
    with_leak = parts[leak_class]
    if leak_class == "leak":  # an exponential too small or slow to be seen shifts the slope all the same
        with_leak = _joined(with_leak, _weigh(dry, priors, "leak_and_hidden"))
    rise_class = max((name for name in CLASSES if name not in ("neither", "leak")), key=lambda n: probabilities[n])
    with_rise = parts[rise_class]
    tau = with_rise.quantiles(with_rise.tau)
    return RiseFit(
        verdict,
        reason,
        MappingProxyType(probabilities),
        MappingProxyType({name: part.log_evidence for name, part in parts.items()}),
        _scaled(with_leak.quantiles(with_leak.b), volume),
        with_rise.quantiles(with_rise.c),
        tau,
        DETECTION * dry.slope_sigma() * volume.value,
        DETECTION * records[rise_class].slope_sigma(tau.median if tau else 0.3 * float(t[-1])) * volume.value,
        water,
        misfit,
    )


@dataclass(frozen=True)
class _Priors:
    """Ranges and densities of b and c: what can be seen at a time constant is where they begin."""

    water: float
    water_sigma: float
    water_already: float  # the most of the first pressure that can be water [Pa]

    @classmethod
    def of(cls, record: Record, water: Uncertain) -> _Priors:
        import numpy as np

        first = float(np.median(record.y[:3]))
        already = min(max(first, 0.02 * water.value), 0.95 * water.value)
        sigma = math.hypot(water.sigma, 0.02 * water.value)  # 2 %: a vacuum gauge's own scale is no better
        return cls(water.value, sigma, already)

    @property
    def most_desorbed(self) -> float:
        return DESORPTION_TOP * self.water

    def b_low(self, p: Products, has_c: bool) -> Array:
        """The smallest b that shows, an exponential beside it or not; shape (tau, 1)."""
        import numpy as np

        left = p.tt - p.te**2 / p.ee if has_c else p.tt
        return (DETECTION * np.maximum(left, 1e-9 * p.tt) ** -0.5)[:, None]

    def c_low(self, p: Products, has_b: bool) -> Array:
        """The smallest c that shows, a straight line beside it or not; shape (tau,)."""
        import numpy as np

        left = p.ee - p.te**2 / p.tt if has_b else p.ee
        return DETECTION * np.maximum(left, 1e-12 * p.ee) ** -0.5

    def c_range(self, name: _Weighed, p: Products) -> tuple[Array, Array]:
        import numpy as np

        visible = self.c_low(p, "leak" in name)
        if name == "leak_and_hidden":
            return 1e-3 * visible, visible
        if "moisture" in name:
            low = max(self.water - self.water_already - 4.0 * self.water_sigma, 1e-3 * self.water)
            return np.full_like(visible, low), np.full_like(visible, self.water + 4.0 * self.water_sigma)
        return visible, np.maximum(self.most_desorbed, 1.001 * visible)

    def visible(self, name: _Weighed, p: Products) -> Array:
        """Whether the class differs from a simpler one at a time constant, shape (tau,).

        A slow exponential is a straight line: alone it stays a rival of the leak, beside a leak it is none.
        """
        if name == "leak_and_hidden":
            return self.c_low(p, True) > 0.0
        most = 0.5 * (self.water - self.water_already) + 0.5 * self.water if "moisture" in name else self.most_desorbed
        return self.c_low(p, "leak" in name) < 0.8 * most

    def log_density_c(self, name: _Weighed, c: Array, low: Array, high: Array) -> Array:
        """Free water: the end is normal about the water pressure, the start anywhere below; hidden: even; else 1/c."""
        import numpy as np
        from scipy.special import ndtr

        if name == "leak_and_hidden":
            return np.broadcast_to(-np.log(high), c.shape)
        if "moisture" not in name:
            return -np.log(c) - np.log(np.log(high / low))
        s, a = self.water_sigma, self.water_already
        density: Array = (ndtr((c + a - self.water) / s) - ndtr((c - self.water) / s)) / a
        floor: Array = np.maximum(density, 1e-300)
        return np.asarray(np.log(floor))


@dataclass(frozen=True)
class _Part:
    """Evidence of one class, and its posterior as weighted nodes; b, c or tau None where the class has none."""

    log_evidence: float
    weight: Array
    b: Array | None = None
    c: Array | None = None
    tau: Array | None = None

    def quantiles(self, x: Array | None) -> Estimate | None:
        import numpy as np

        if x is None:
            return None
        at, which = np.unique(x, return_inverse=True)  # nodes that many combinations share count as one
        weight = np.bincount(which.ravel(), weights=self.weight.ravel())
        share = np.cumsum(weight)
        low, median, high = np.interp((0.05, 0.5, 0.95), (share - 0.5 * weight) / share[-1], at)
        return Estimate(float(low), float(median), float(high))


def _weigh(record: Record, priors: _Priors, name: _Weighed) -> _Part:
    """Evidence of a class; the grid of tau closes in on where the posterior is."""
    import numpy as np

    if name in ("neither", "leak"):
        return _part(record, priors, name, np.array([TAU_HIGH]), np.zeros(1))
    low, high = math.log(TAU_LOW), math.log(_slowest(record, priors, name))
    whole = high - low
    x, w = np.polynomial.legendre.leggauss(TAUS)
    for round_ in range(REFINEMENTS):
        log_tau = low + 0.5 * (high - low) * (x + 1.0)
        part = _part(record, priors, name, np.exp(log_tau), np.log(0.5 * (high - low) * w / whole))
        near = part.weight.sum(axis=(0, 2, 3))
        kept = log_tau[near > near.max() * math.exp(-KEEP)]
        step = 2.0 * (high - low) / TAUS
        closer = max(float(kept[0]) - step, low), min(float(kept[-1]) + step, high)
        if round_ == REFINEMENTS - 1 or closer[1] - closer[0] > 0.7 * (high - low):
            break
        low, high = closer
    return part


def _slowest(record: Record, priors: _Priors, name: _Weighed) -> float:
    """The largest time constant at which a class can be told from a simpler one [s]."""
    import numpy as np

    taus = np.geomspace(TAU_LOW, TAU_HIGH, 60)
    seen = taus[priors.visible(name, record.stated(taus))]
    return max(float(seen[-1]), 2.0 * TAU_LOW) if seen.size else 2.0 * TAU_LOW


def _part(record: Record, priors: _Priors, name: _Weighed, taus: Array, log_tau_weight: Array) -> _Part:
    """Sum over axes: noise, tau, c, b; an axis that the class lacks has length one."""
    import numpy as np

    has_b, has_c = "leak" in name, name not in ("neither", "leak")
    sums = record.sums(taus)
    stated = sums.products(1.0, 1.0)
    c_low, c_high = priors.c_range(name, stated)
    b_low = priors.b_low(stated, has_c and name != "leak_and_hidden")
    b_high = np.maximum(FASTEST_LEAK, 10.0 * b_low)
    logs, bs, cs = [], [], []
    for factor, drift, log_weight in noise_levels():
        p = sums.products(factor, drift)
        c = log_c = np.zeros((taus.size, 1))
        if has_c:
            c, log_c = _nodes(*_peak_c(p, has_b), c_low, c_high)
            log_c = log_c + priors.log_density_c(name, c, c_low[:, None], c_high[:, None])
        b = log_b = np.zeros((*c.shape, 1))
        if has_b:
            mean = (p.yt[:, None] - c * p.te[:, None]) / p.tt[:, None]
            sigma = np.broadcast_to(p.tt[:, None] ** -0.5, mean.shape)
            b, log_b = _nodes(mean, sigma, b_low, b_high)
            log_b = log_b - np.log(b) - np.log(np.log(b_high / b_low))[:, :, None]
        c3 = c[:, :, None]
        yy, yt, tt, ye, te, ee, log_determinant = (x[:, None, None] for x in p)
        square = yy - 2.0 * b * yt - 2.0 * c3 * ye + b * b * tt + 2.0 * b * c3 * te + c3 * c3 * ee
        prior = log_weight + log_c[:, :, None] + log_b + log_tau_weight[:, None, None]
        logs.append(prior - 0.5 * (log_determinant + square))
        bs.append(b)
        cs.append(np.broadcast_to(c3, square.shape))
    log = np.stack(logs)
    top = float(log.max())
    weight = np.exp(log - top)
    tau = np.broadcast_to(taus[None, :, None, None], weight.shape) if has_c else None
    evidence = top + math.log(float(weight.sum())) - 0.5 * record.y.size * math.log(2.0 * math.pi)
    return _Part(evidence, weight, np.stack(bs) if has_b else None, np.stack(cs) if has_c else None, tau)


def noise_levels() -> list[tuple[float, float, float]]:
    """Factors on the stated noise and on the stated wandering, with the logarithm of their prior weight."""
    raw = [math.exp(-0.5 * (math.log(f) / NOISE_SPREAD) ** 2) for f in NOISE_FACTORS]
    whole = sum(raw) * len(DRIFT_FACTORS)
    return [(f, d, math.log(w / whole)) for f, w in zip(NOISE_FACTORS, raw, strict=True) for d in DRIFT_FACTORS]


def _peak_c(p: Products, has_b: bool) -> tuple[Array, Array]:
    """Peak and sigma of c at each tau, b profiled out."""
    import numpy as np

    precision = np.maximum(p.ee - p.te**2 / p.tt, 1e-12 * p.ee) if has_b else p.ee
    pull = p.ye - p.te * p.yt / p.tt if has_b else p.ye
    return pull / precision, precision**-0.5


def _joined(first: _Part, second: _Part) -> _Part:
    """Two parts with alike prior as one set of weighted b, c and tau dropped."""
    import numpy as np

    assert first.b is not None
    assert second.b is not None
    log_ratio = second.log_evidence - first.log_evidence
    w1 = first.weight.ravel() / first.weight.sum()
    w2 = second.weight.ravel() / second.weight.sum() * math.exp(min(log_ratio, 50.0))
    return _Part(first.log_evidence, np.concatenate([w1, w2]), np.concatenate([first.b.ravel(), second.b.ravel()]))


def _nodes(mean: Array, sigma: Array, low: Array, high: Array) -> tuple[Array, Array]:
    """Gauss-Legendre nodes in the logarithm, along a new last axis, where a normal peak meets a range."""
    import numpy as np

    start = np.clip(mean - REACH * sigma, low, high)
    stop = np.clip(mean + REACH * sigma, low, high)
    # A peak outside the range leaves its flank: follow that from the range's nearer end.
    stop = np.where(stop <= low * (1.0 + 1e-6), np.minimum(low + REACH * sigma, high), stop)
    start = np.where(start >= high * (1.0 - 1e-6), np.maximum(high - REACH * sigma, low), start)
    x, w = np.polynomial.legendre.leggauss(NODES)
    half = 0.5 * np.log(stop / start)
    at = np.exp(np.log(start)[..., None] + half[..., None] * (x + 1.0))
    return at, np.log(np.maximum(half[..., None] * w * at, 1e-300))


def _probabilities(log_evidence: Mapping[RiseClass, float]) -> dict[RiseClass, float]:
    top = max(log_evidence.values())
    raw = {name: math.exp(value - top) for name, value in log_evidence.items()}
    whole = sum(raw.values())
    return {name: value / whole for name, value in raw.items()}


def _likeliest(probabilities: Mapping[RiseClass, float], part: str) -> RiseClass:
    return max((name for name in CLASSES if part in name), key=lambda name: probabilities[name])


def _misfit(record: Record, part: _Part) -> float:
    """Root mean square of the residual over the stated noise, at the posterior mean of the likeliest class."""
    import numpy as np

    weight = part.weight / part.weight.sum()
    tau = TAU_HIGH if part.tau is None else math.exp(float(np.sum(weight * np.log(part.tau))))
    columns = [record.columns(np.array([tau]))[0][0]]
    if part.b is not None:
        columns.append(record.t[:, None])
    if part.tau is not None:
        columns.append((1.0 - np.exp(-record.t / tau))[:, None])
    X = np.hstack(columns)
    residual = record.y - X @ np.linalg.lstsq(X, record.y, rcond=None)[0]
    free = max(record.y.size - X.shape[1], 1)
    return float(math.sqrt(float(residual @ residual) / free) / record.sigma)


def _verdict(
    probabilities: Mapping[RiseClass, float], best: RiseClass, misfit: float
) -> tuple[RiseClass | Literal["cannot_tell"], str]:
    if misfit > MISFIT:
        return "cannot_tell", say(
            "The curve follows none of the models: its residual is {misfit:.1f} times the gauge's noise. "
            "A valve moved, the gauge was disturbed, or the temperature wandered.",
            misfit=misfit,
        )
    if probabilities[best] >= CLAIM:
        return best, say("{count:.0f} of 100 for this reading of the curve.", count=100 * probabilities[best])
    alike = [say(name.replace("_", " ")) for name in CLASSES if probabilities[name] >= 1.0 - CLAIM]
    return "cannot_tell", say("This record cannot tell apart: {classes}. A longer one may.", classes=", ".join(alike))


def _scaled(slope: Estimate | None, volume: Uncertain) -> Estimate | None:
    """Turn b [Pa/s] into a throughput [Pa m3/s], the volume's spread added in the logarithm."""
    if slope is None:
        return None
    spread = 1.645 * volume.sigma / volume.value
    low = math.exp(-math.hypot(math.log(slope.median / slope.low), spread))
    high = math.exp(math.hypot(math.log(slope.high / slope.median), spread))
    middle = slope.median * volume.value
    return Estimate(middle * low, middle, middle * high)


def _check(t: Array, y: Array, gauge: VacuumGauge, volume: Uncertain) -> None:
    import numpy as np

    problems = []
    if t.size != y.size or t.size < FEWEST:
        says = say("Too few readings, or not one pressure a time.")
        problems.append(
            Problem(
                "times",
                say("{times} times, {pressures} pressures", times=t.size, pressures=y.size),
                say("at least {count} of each", count=FEWEST),
                says,
            )
        )
    elif not (np.all(np.isfinite(t)) and np.all(np.diff(t) > 0.0)):
        problems.append(
            Problem("times", say("times that do not rise"), say("each later than the one before"), say("Out of order."))
        )
    if not np.all(np.isfinite(y)) or np.any(y <= 0.0):
        problems.append(
            Problem("pressures", say("zero, negative or not finite"), say("above zero, absolute"), say("No pressure."))
        )
    if not (gauge.noise > 0.0 or gauge.resolution > 0.0):
        problems.append(
            Problem("gauge", say("no noise and no resolution"), say("one above zero"), say("No gauge is perfect."))
        )
    if not volume.value > 0.0:
        problems.append(Problem("volume", repr(volume.value), say("above zero"), say("No volume.")))
    if problems:
        raise InputError(problems)
