"""Where each hypothesis explains the readings best: peaks of its posterior, and a first estimate of its evidence."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from loopwright.diagnosis.likelihood import Evidence
from loopwright.diagnosis.posterior import FAR, rise, scan
from loopwright.diagnosis.prior import Table
from loopwright.diagnosis.threads import shared

__all__ = ["CLOUD", "STARTS", "Peak", "explore", "laplace", "within"]

CLOUD = 48  # prior draws from which each hypothesis picks its starts
STARTS = 3
ITERATIONS = 12
APART = 0.3  # of one unknown at least, in spreads of the prior, between two peaks
WORTH_CLIMBING = 15.0  # nats under the best by its first peak, beyond which no others are looked for
LOG_2PI = math.log(2.0 * math.pi)


@dataclass(frozen=True)
class Peak:
    """A peak: log density, place (d,), curvature (d, d), log of the volume under its Gaussian; the solver's unknowns
    there (4,), their derivatives (4, d), and the balances' (4, 4)."""

    height: float
    centre: np.ndarray
    hessian: np.ndarray
    log_volume: float
    start: np.ndarray
    lean: np.ndarray
    slopes: np.ndarray


def explore(table: Table, r: np.ndarray, e: Evidence, log_prior: np.ndarray) -> tuple[list[list[Peak]], int]:
    """Distinct peaks of every hypothesis, highest first, and how many draws of the cloud did not solve.

    Each is climbed from its best draw; from its next best only where that peak is within `WORTH_CLIMBING` of the best.
    """
    count, width = table.base.shape[0], table.kinds.shape[1]
    cloud = _cloud(width, 20)
    score, unknowns = np.empty((count, CLOUD)), np.empty((count, CLOUD, 4))
    lost = sum(shared(lambda h: scan(table, h, r, e, cloud, score[h], unknowns[h]), range(count)))
    starts = np.argsort(-score, axis=1)[:, :STARTS]

    def from_start(at: tuple[int, int]) -> Peak | None:
        h, i = at[0], starts[at]
        return _rise(table, h, r, e, cloud[i].copy(), unknowns[h, i]) if score[h, i] > FAR else None

    found = shared(from_start, [(h, 0) for h in range(count)])
    peaks = [[] if peak is None else [peak] for peak in found]
    promising = within(np.array([laplace(p) for p in peaks]) + log_prior, WORTH_CLIMBING)
    others = [(h, k) for h in promising.tolist() for k in range(1, STARTS)]
    for (h, _), peak in zip(others, shared(from_start, others), strict=True):
        if peak is not None:
            peaks[h].append(peak)
    return [_distinct(p) for p in peaks], lost


def _distinct(peaks: list[Peak]) -> list[Peak]:
    """Peaks that are `APART`, highest first."""
    kept: list[Peak] = []
    for peak in sorted(peaks, key=lambda p: -p.height):
        if all(np.max(np.abs(peak.centre - p.centre)) >= APART for p in kept):
            kept.append(peak)
    return kept


def _rise(table: Table, h: int, r: np.ndarray, e: Evidence, u: np.ndarray, x: np.ndarray) -> Peak | None:
    """The peak above `u` (d); None where the loop does not solve there."""
    d, width = int(table.parameters[h]), len(u)
    hessian, slopes, lean = np.zeros((width, width)), np.zeros((4, 4)), np.zeros((4, width))
    height = rise(table, h, r, e, u, x, ITERATIONS, hessian, slopes, lean)
    if height <= FAR:
        return None
    hessian = hessian[:d, :d]
    volume = height + 0.5 * d * LOG_2PI - 0.5 * float(np.linalg.slogdet(hessian)[1])
    return Peak(height, u[:d], hessian, volume, x, lean, slopes)


def laplace(peaks: list[Peak]) -> float:
    """Log evidence as the volume under the Gaussians at the peaks."""
    return float(np.logaddexp.reduce([p.log_volume for p in peaks], initial=FAR))


def within(log_p: np.ndarray, nats: float) -> np.ndarray:
    """Places within so many nats of the largest."""
    return np.flatnonzero(log_p.max() - log_p < nats)


@lru_cache(maxsize=4)
def _cloud(width: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal((CLOUD, width))
