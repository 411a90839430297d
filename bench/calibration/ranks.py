"""Simulation-based calibration: truth drawn from the prior must look like one more draw from the posterior.

Source: Talts, Betancourt, Simpson, Vehtari and Gelman 2018, arXiv:1804.06788 (ranks). Each row below is one sheet drawn
by `population`, judged as a user's would be; ranks come from the samples of the true hypothesis alone.
"""

from __future__ import annotations

import math
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from scipy.stats import chi2

from bench.calibration.population import Case, draw_case
from loopwright.diagnosis import judge
from loopwright.diagnosis.likelihood import evidence
from loopwright.diagnosis.prior import severity_value
from loopwright.diagnosis.sampler import infer
from loopwright.fluids import refrigerant_array

BINS = 10
KEPT = 99  # samples that a rank is counted in: ranks 0 to 99, ten to a bin
WATCHED = ("condenser_size", "condenser_air", "blower", "displacement", "charge", "cabin_offset", "volumes")


def row_of(seed: int, index: int) -> dict[str, Any]:
    """One case judged: truth, probabilities, verdict, severity interval of the true cause, ranks."""
    case = draw_case(seed, index)
    begun = time.perf_counter()
    judgement = judge(case.test, seed=index)
    row: dict[str, Any] = {
        "index": index,
        "set": case.reading_set,
        "truth": case.truth.fault.id,
        "capacity": round(case.capacity, 4),
        "redrawn": case.redrawn,
        "verdict": judgement.verdict,
        "misfit": round(judgement.fit.misfit_probability, 4),
        "seconds": round(time.perf_counter() - begun, 3),
    }
    for cause in judgement.causes:
        row[f"p_{cause.fault}"] = round(cause.probability, 6)
        if cause.fault == case.truth.fault.id and cause.severity is not None:
            same_point = cause.severity.point in (None, case.truth.variant.point)
            if same_point:
                i = cause.severity.interval
                row |= {"low": i.low, "median": i.median, "high": i.high}
    return row | _ranks(case, index)


def _ranks(case: Case, seed: int) -> dict[str, Any]:
    e, _, _ = evidence(case.test)
    posterior = infer([case.truth], refrigerant_array(case.test.vehicle.refrigerant), e, seed)
    rng = np.random.default_rng([seed, 99])
    kept = rng.choice(len(posterior.which), size=KEPT, replace=False, p=posterior.weights)
    names = case.truth.names
    found: dict[str, Any] = {}
    if case.truth.fault.severity is not None:
        found["severity"] = float(severity_value(case.truth, case.u[None, : len(names)])[0])
    for name in (*WATCHED, "severity"):
        if name in names:
            j = names.index(name)
            found[f"rank_{name}"] = rank(posterior.u[kept, j], case.u[j], rng)
    return found


def rank(samples: np.ndarray, truth: float, rng: np.random.Generator) -> int:
    """How many samples lie under the truth, ties broken by lot (particles repeat)."""
    below, same = int((samples < truth).sum()), int((samples == truth).sum())
    return below + int(rng.integers(0, same + 1))


def uniformity(ranks: np.ndarray, bins: int = BINS) -> tuple[np.ndarray, float, float]:
    """Histogram over `bins`, chi-square against even, its p-value."""
    counts = np.bincount(ranks * bins // (KEPT + 1), minlength=bins)
    even = len(ranks) / bins
    statistic = float(((counts - even) ** 2 / even).sum())
    return counts, statistic, float(chi2.sf(statistic, bins - 1))


def surprise(given: Sequence[Mapping[str, float]], truths: Sequence[str], weights: np.ndarray | None = None) -> float:
    """Mean log probability of the truth less what honest probabilities expect, in standard errors (negative: too sure).

    Under honesty log p(truth) has mean -H(p) and a variance that p gives, sheet by sheet; probabilities under 1e-6 are
    taken as that. `weights` (n,) of the sheets' gaps, one each where left out.
    """
    gap, variance = 0.0, 0.0
    for weight, shares, truth in zip(np.ones(len(given)) if weights is None else weights, given, truths, strict=True):
        p = np.maximum(np.array(list(shares.values())), 1e-6)
        p = p / p.sum()
        log_p = np.log(p)
        mean = float((p * log_p).sum())
        gap += float(weight) * (float(log_p[list(shares).index(truth)]) - mean)
        variance += float((p * (log_p - mean) ** 2).sum())
    return gap / math.sqrt(max(variance, 1e-12))


def told_over_drawn(given: Sequence[Mapping[str, float]], truths: Sequence[str]) -> dict[str, tuple[float, int]]:
    """How often each cause should be the truth by what was told of it, and how often it was drawn.

    A draw of causes is uneven by chance alone. With each sheet weighted by told over drawn of its truth that chance is
    out, as in post-stratification, and with it whatever would be told too often of a cause everywhere.
    """
    drawn = Counter(truths)
    return {cause: (sum(shares.get(cause, 0.0) for shares in given), drawn[cause]) for cause in sorted(drawn)}


def calibration_error(p: np.ndarray, hit: np.ndarray, weights: np.ndarray | None = None) -> float:
    """Expected calibration error: mean gap, over ten bins, between share come true and mean probability."""
    gap = (hit - p) * (1.0 if weights is None else weights)
    place = np.minimum((p * 10).astype(int), 9)
    return float(sum(abs(gap[place == b].sum()) for b in range(10)) / len(p))


def perfect_error(p: np.ndarray, repeats: int = 400, seed: int = 5) -> tuple[float, float]:
    """Median and 95th percentile of the error that perfectly honest probabilities `p` would show by chance."""
    rng = np.random.default_rng(seed)
    errors = [calibration_error(p, rng.random(len(p)) < p) for _ in range(repeats)]
    return float(np.median(errors)), float(np.percentile(errors, 95))


def standard_error(share: float, n: int) -> float:
    """Of a share seen in n trials."""
    return math.sqrt(max(share * (1.0 - share), 1e-9) / max(n, 1))
