"""Where each hypothesis explains the readings best: peaks of its posterior, and a first estimate of its evidence."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from loopwright.diagnosis.likelihood import Evidence
from loopwright.diagnosis.posterior import FAR, rise, scan
from loopwright.diagnosis.prior import Hypothesis, Table
from loopwright.diagnosis.threads import shared

__all__ = ["CLOUD", "STARTS", "Peak", "explore", "laplace", "within"]

CLOUD = 48  # prior draws from which each hypothesis picks its starts
ROUNDS = 2  # of looking at neighbours' peaks: those found in the first are new to others
STARTS = 2 + ROUNDS  # of each hypothesis at most: the two best draws of the cloud, and what fits best of its neighbours
NEIGHBOURS = 4  # likeliest hypotheses on the same structure whose peaks are tried as another's start
LEVELS = (-1.5, 0.0, 1.5)  # of severity, in spreads of its prior, tried with a neighbour's vehicle
ITERATIONS = 12
BETTER = 0.5  # nats by which a start must fit better than the one climbed from a round before
APART = 0.3  # of one unknown at least, in spreads of the prior, between two peaks
WORTH_CLIMBING = 15.0  # nats under the best by its first peak, beyond which its next draw is not climbed
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


def explore(
    found: list[Hypothesis], table: Table, r: np.ndarray, e: Evidence, log_prior: np.ndarray
) -> tuple[list[list[Peak]], int]:
    """Distinct peaks of every hypothesis, highest first, and how many draws of the cloud did not solve.

    Each is climbed from its best draw, where it is within `WORTH_CLIMBING` of the best from its next draw too, and
    then, `ROUNDS` times, from what fits best of the peaks of its likeliest `NEIGHBOURS` with its own fault. A vehicle
    that explains the readings with one fault is near one that does with another; draws of the prior start so far off
    that they often end on the wrong side of a bend (a receiver that runs dry).
    """
    count, width = table.base.shape[0], table.kinds.shape[1]
    cloud = _cloud(width, 20)
    score, unknowns = np.empty((count, CLOUD)), np.empty((count, CLOUD, 4))
    lost = sum(shared(lambda h: scan(table, h, r, e, cloud, score[h], unknowns[h]), range(count)))
    starts, level_tried = np.argsort(-score, axis=1), np.full(count, FAR)

    def from_draw(at: tuple[int, int]) -> Peak | None:
        h, i = at[0], starts[at]
        return _rise(table, h, r, e, cloud[i].copy(), unknowns[h, i]) if score[h, i] > FAR else None

    def from_neighbour(at: tuple[int, list[int]]) -> Peak | None:
        h, near = at
        tries = np.vstack([_with_severities(found[h], peaks[i][0].centre, width) for i in near])
        level, x = np.empty(len(tries)), np.empty((len(tries), 4))
        scan(table, h, r, e, tries, level, x)
        best = int(np.argmax(level))
        if level[best] <= level_tried[h] + BETTER:
            return None
        level_tried[h] = level[best]
        return _rise(table, h, r, e, tries[best], x[best])

    peaks = [[] if peak is None else [peak] for peak in shared(from_draw, [(h, 0) for h in range(count)])]

    def log_p() -> np.ndarray:
        return np.array([laplace(p) for p in peaks]) + log_prior

    def keep(at: Sequence[tuple[int, object]], climbed: Sequence[Peak | None]) -> None:
        for (h, _), peak in zip(at, climbed, strict=True):
            if peak is not None:
                peaks[h] = _distinct([*peaks[h], peak])

    alone = set(range(count)) - {h for h, _ in _neighbours(found, log_p())}
    again = [(int(h), 1) for h in within(log_p(), WORTH_CLIMBING)] + [(h, 2) for h in alone]
    keep(again, shared(from_draw, again))
    for _ in range(ROUNDS):
        near = _neighbours(found, log_p())
        keep(near, shared(from_neighbour, near))
    return peaks, lost


def _neighbours(found: list[Hypothesis], log_p: np.ndarray) -> list[tuple[int, list[int]]]:
    """Each hypothesis with the likeliest others on its structure that have a peak, where there are any."""
    best = [i for i in np.argsort(-log_p).tolist() if log_p[i] > 0.5 * FAR]
    pairs = []
    for h, mine in enumerate(found):
        near = [i for i in best if i != h and found[i].structure == mine.structure][:NEIGHBOURS]
        if near:
            pairs.append((h, near))
    return pairs


def _with_severities(h: Hypothesis, centre: np.ndarray, width: int) -> np.ndarray:
    """Rows (n, width): the vehicle at the neighbour's `centre`, with the fault of `h` at every one of `LEVELS`."""
    sizes = len(h.names) - ("severity" in h.names)
    rows = np.zeros((len(LEVELS), width))
    rows[:, :sizes] = centre[:sizes]
    rows[:, sizes : len(h.names)] = np.array(LEVELS)[:, None]
    return rows if sizes < len(h.names) else rows[:1]


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
