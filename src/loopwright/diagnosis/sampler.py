"""Evidence and samples for every hypothesis: peaks first, then annealed particles where the peak promises anything."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from loopwright.circuit.points import OUTPUTS
from loopwright.circuit.steady import CONVERGED
from loopwright.diagnosis.anneal import anneal
from loopwright.diagnosis.likelihood import Evidence
from loopwright.diagnosis.posterior import FAR, STARTS, explore, weigh
from loopwright.diagnosis.prior import Hypothesis, Table, stack

__all__ = ["Posterior", "draw_prior", "infer"]

CLOUD = 48  # prior draws from which each hypothesis picks its starts
ITERATIONS = 12
NEAR = 5.5  # nats under the best peak beyond which a hypothesis keeps its peak estimate and is not sampled
FULL, FAR_OFF = 360, 120  # particles of a hypothesis within `CLOSE` nats of the best peak, and of one farther off
CLOSE = 2.5
MOVES = 4  # of every particle at every step
DEFENCE = 0.15  # share of the start mixture that is the prior itself, so that no corner is left out
HEAT = 0.35  # power of the likelihood in the start Gaussians: wide where the readings speak, the prior elsewhere
LOG_2PI = math.log(2.0 * math.pi)


@dataclass(frozen=True)
class Posterior:
    """Weighted samples over hypotheses and unknowns.

    `which` (n,) hypothesis of each sample, `u` (n, d) its unknowns, `outputs` (n, outputs) what it would show,
    `weights` (n,) adding up to one over all hypotheses; `log_evidence` (h,) with the prior of the hypothesis left
    out; `lost` share of prior draws that did not solve.
    """

    hypotheses: tuple[Hypothesis, ...]
    which: np.ndarray
    u: np.ndarray
    outputs: np.ndarray
    weights: np.ndarray
    log_evidence: np.ndarray
    lost: float

    @property
    def probabilities(self) -> np.ndarray:
        """Posterior probability of each hypothesis (h,)."""
        log_p = self.log_evidence + np.array([h.log_prior for h in self.hypotheses])
        p: np.ndarray = np.exp(log_p - log_p.max())
        return p / p.sum()


@dataclass(frozen=True)
class _Peak:
    """A peak: place (d,), curvature (d, d), log of the volume under its Gaussian, solver start and slopes."""

    centre: np.ndarray
    hessian: np.ndarray
    log_volume: float
    start: np.ndarray
    slopes: np.ndarray


@lru_cache(maxsize=4)
def _cloud(width: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal((CLOUD, width))


def draw_prior(
    found: list[Hypothesis], r: np.ndarray, count: int, seed: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """`count` prior draws of every hypothesis: which (n,), u (n, d), outputs (n, outputs), solved (n,)."""
    table = stack(found)
    rng = np.random.default_rng(seed)
    which = np.repeat(np.arange(len(found)), count)
    u = rng.standard_normal((len(which), table.kinds.shape[1]))
    return (which, u, *solve_draws(table, r, which, u))


def solve_draws(table: Table, r: np.ndarray, which: np.ndarray, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Outputs (n, outputs) of given draws, and which of them solved (n,)."""
    n = len(which)
    log_post, outs, codes = np.empty(n), np.empty((n, len(OUTPUTS))), np.empty(n, np.int64)
    start = np.tile([276.0, 320.0, 0.4, 0.5], (n, 1))
    weigh(table, r, nothing_read(), which, u, start, np.zeros((n, 4, 4)), log_post, outs, codes)
    return outs, codes == CONVERGED


def nothing_read() -> Evidence:
    """Evidence of an empty sheet."""
    none, empty = np.empty(0, np.int64), np.empty(0)
    return Evidence(none, none, empty, empty, empty, none, none, none)


def infer(found: list[Hypothesis], r: np.ndarray, e: Evidence, seed: int) -> Posterior:
    """Posterior over all hypotheses.

    Peaks by `explore` give each hypothesis an estimate of its evidence (Laplace); those within `NEAR` of the best are
    annealed for evidence and samples.
    """
    table = stack(found)
    width, count = table.kinds.shape[1], len(found)
    modes, unknowns = np.zeros((count, STARTS, width)), np.zeros((count, STARTS, 4))
    heights, hessians = np.full((count, STARTS), FAR), np.zeros((count, STARTS, width, width))
    slopes, lost = np.zeros((count, STARTS, 4, 4)), np.zeros(count, np.int64)
    explore(table, r, e, _cloud(width, 20), ITERATIONS, modes, unknowns, slopes, heights, hessians, lost)
    peaks = [
        _peaks(int(table.parameters[h]), modes[h], unknowns[h], slopes[h], heights[h], hessians[h])
        for h in range(count)
    ]
    log_evidence = np.array([_laplace(p) for p in peaks])
    promise = log_evidence + np.array([h.log_prior for h in found])
    behind = promise.max() - promise
    groups = []
    for chosen, size in (
        (np.flatnonzero(behind < CLOSE), FULL),
        (np.flatnonzero((behind >= CLOSE) & (behind < NEAR)), FAR_OFF),
    ):
        if len(chosen):
            groups.append(
                (chosen, *_annealed(table, r, e, chosen, [peaks[h] for h in chosen], size, seed, log_evidence))
            )
    return _assemble(found, groups, log_evidence, float(lost.sum()) / (CLOUD * count))


def _peaks(
    d: int, modes: np.ndarray, unknowns: np.ndarray, slopes: np.ndarray, heights: np.ndarray, hessians: np.ndarray
) -> list[_Peak]:
    """Distinct peaks of one hypothesis, highest first."""
    found: list[_Peak] = []
    for s in np.argsort(-heights):
        centre = modes[s, :d]
        if heights[s] <= FAR or any(np.max(np.abs(centre - p.centre)) < 0.3 for p in found):
            continue
        hessian = hessians[s, :d, :d]
        volume = float(heights[s] + 0.5 * d * LOG_2PI - 0.5 * np.linalg.slogdet(hessian)[1])
        found.append(_Peak(centre, hessian, volume, unknowns[s], slopes[s]))
    return found


def _heated(p: _Peak) -> tuple[np.ndarray, np.ndarray]:
    """Mean and covariance of the Gaussian that the likelihood to the power `HEAT` would give at a peak.

    With curvature H = I + G at the peak m: covariance (I + HEAT G)^-1, mean covariance HEAT H m.
    """
    identity = np.eye(len(p.centre))
    covariance = np.linalg.inv(identity + HEAT * (p.hessian - identity))
    return covariance @ (HEAT * p.hessian @ p.centre), 0.5 * (covariance + covariance.T)


def _laplace(peaks: list[_Peak]) -> float:
    return _log_sum(np.array([p.log_volume for p in peaks])) if peaks else FAR


def _log_sum(values: np.ndarray) -> float:
    top = float(values.max())
    return top + math.log(float(np.exp(values - top).sum()))


def _annealed(
    table: Table, r: np.ndarray, e: Evidence, chosen: np.ndarray, peaks: list[list[_Peak]], size: int, seed: int,
    log_evidence: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """Particles (m, n, d) and their outputs (m, n, outputs); writes the evidence of the chosen hypotheses."""
    m, width = len(chosen), table.kinds.shape[1]
    centre, log_share, log_det = np.zeros((m, STARTS, width)), np.full((m, STARTS), -50.0), np.zeros((m, STARTS))
    factor, inverse = np.zeros((m, STARTS, width, width)), np.zeros((m, STARTS, width, width))
    start_x, start_jac = np.zeros((m, STARTS, 4)), np.zeros((m, STARTS, 4, 4))
    for i, own in enumerate(peaks):
        volumes = np.array([p.log_volume for p in own])
        share = np.maximum(np.exp(volumes - volumes.max()), 0.05)
        log_share[i, : len(own)] = np.log((1.0 - DEFENCE) * share / share.sum())
        for b, p in enumerate(own):
            d = len(p.centre)
            middle, covariance = _heated(p)
            low = np.linalg.cholesky(covariance)
            centre[i, b, :d], factor[i, b, :d, :d], inverse[i, b, :d, :d] = middle, low, np.linalg.inv(low)
            log_det[i, b] = np.log(np.diag(low)).sum()
            start_x[i, b], start_jac[i, b] = p.start, p.slopes
    u, outs = np.zeros((m, size, width)), np.zeros((m, size, len(OUTPUTS)))
    annealed, stats = np.zeros(m), np.zeros((m, 2))
    seeds = np.random.default_rng(seed).integers(1, 2**31 - 1, size=len(table.parameters))[chosen]
    blobs = np.array([len(p) for p in peaks], np.int64)
    anneal(
        table, r, e, chosen, seeds, blobs, centre, factor, inverse, log_share, log_det, math.log(DEFENCE), start_x,
        start_jac, MOVES, u, outs, annealed, stats,
    )  # fmt: skip
    log_evidence[chosen] = annealed
    return u, outs


def _assemble(
    found: list[Hypothesis],
    groups: list[tuple[np.ndarray, np.ndarray, np.ndarray]],
    log_evidence: np.ndarray,
    lost: float,
) -> Posterior:
    """One table of samples; a hypothesis that was not sampled keeps its probability but has no samples."""
    log_p = log_evidence + np.array([h.log_prior for h in found])
    which = np.concatenate([np.repeat(chosen, u.shape[1]) for chosen, u, _ in groups])
    u = np.concatenate([u.reshape(-1, u.shape[2]) for _, u, _ in groups])
    outs = np.concatenate([o.reshape(-1, o.shape[2]) for _, _, o in groups])
    sizes = np.concatenate([np.full(len(chosen) * u.shape[1], u.shape[1]) for chosen, u, _ in groups])
    weights = np.exp(log_p[which] - log_p[which].max()) / sizes
    return Posterior(tuple(found), which, u, outs, weights / weights.sum(), log_evidence, lost)
