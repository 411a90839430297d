"""Evidence and samples for every hypothesis: peaks first, then importance sampling where the peak promises anything."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from loopwright.circuit.points import OUTPUTS
from loopwright.circuit.steady import CONVERGED
from loopwright.diagnosis.importance import EFFECTIVE, PRIOR_SHARE, Building, Drawing, Part, build, sample, stand_part
from loopwright.diagnosis.likelihood import Evidence
from loopwright.diagnosis.posterior import FAR, STARTS, explore, weigh
from loopwright.diagnosis.prior import Hypothesis, Table, stack

__all__ = ["Posterior", "draw_prior", "infer"]

CLOUD = 48  # prior draws from which each hypothesis picks its starts
ITERATIONS = 12
WORTH_BUILDING = 7.5  # nats under the best by its peaks, beyond which a hypothesis keeps their estimate, 0 to 4 low
NEAR = 6.5  # nats under the best by its mixture, beyond which a hypothesis keeps that estimate and is not sampled
LOG_2PI = math.log(2.0 * math.pi)


@dataclass(frozen=True)
class Posterior:
    """Weighted samples over hypotheses and unknowns.

    `which` (n,) hypothesis of each sample, `u` (n, d) its unknowns, `outputs` (n, outputs) what it would show,
    `weights` (n,) adding up to one over all hypotheses, `worth` (n,) how many independent draws each stands for, one
    at most (several came from the same and were only moved apart); `log_evidence` (h,) with the prior of the
    hypothesis left out; `lost` share of prior draws that did not solve.
    """

    hypotheses: tuple[Hypothesis, ...]
    which: np.ndarray
    u: np.ndarray
    outputs: np.ndarray
    weights: np.ndarray
    worth: np.ndarray
    log_evidence: np.ndarray
    lost: float

    @property
    def probabilities(self) -> np.ndarray:
        """Posterior probability of each hypothesis (h,)."""
        log_p = self.log_evidence + np.array([h.log_prior for h in self.hypotheses])
        p: np.ndarray = np.exp(log_p - log_p.max())
        return p / p.sum()


BUILDING = Building(250, 60, 60.0)  # of the mixture of every hypothesis near the best
ROUNDS = 3  # parts added to it at most, and one more for each start that led to no peak of its own
DRAWING = Drawing(250, 1000, 4000, 180.0, 200, 4)  # of the likeliest; the others get less (`_effort`)
STEEP = 0.7  # a judgement: 1 suits the likeliest causes best, less tells more of the unlikely ones
MOST_FULL = 24  # hypotheses that get their effort in full


@dataclass(frozen=True)
class _Peak:
    """A peak: place (d,), curvature (d, d), log of the volume under its Gaussian; the solver's unknowns
    there (4,), their derivatives (4, d), and the balances' (4, 4)."""

    centre: np.ndarray
    hessian: np.ndarray
    log_volume: float
    start: np.ndarray
    lean: np.ndarray
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

    Peaks by `explore` give each hypothesis an estimate of its evidence (Laplace). Those within `WORTH_BUILDING` of the
    best get a mixture, which gives a better one, and those within `NEAR` by it are sampled: the likelier, the longer.
    """
    table = stack(found)
    width, count = table.kinds.shape[1], len(found)
    modes, unknowns = np.zeros((count, STARTS, width)), np.zeros((count, STARTS, 4))
    heights, hessians = np.full((count, STARTS), FAR), np.zeros((count, STARTS, width, width))
    slopes, lean = np.zeros((count, STARTS, 4, 4)), np.zeros((count, STARTS, 4, width))
    lost = np.zeros(count, np.int64)
    explore(table, r, e, _cloud(width, 20), ITERATIONS, modes, unknowns, slopes, lean, heights, hessians, lost)
    peaks = [
        _peaks(int(table.parameters[h]), modes[h], unknowns[h], lean[h], slopes[h], heights[h], hessians[h])
        for h in range(count)
    ]
    log_evidence = np.array([_laplace(p) for p in peaks])
    log_prior = np.array([h.log_prior for h in found])
    seeds = np.random.default_rng(seed).integers(1, 2**31 - 1, size=(2, count))
    built = _within(log_evidence + log_prior, WORTH_BUILDING)
    crowd = _crowd(built)
    building = BUILDING._replace(first=max(int(BUILDING.first * crowd), 80))
    mixtures, parts = _mixtures([peaks[h] for h in built], width, building.first, int(ROUNDS * crowd))
    estimate = np.zeros(len(built))
    build(table, r, e, built, seeds[0, built], mixtures, parts, building, estimate)
    log_evidence[built] = estimate
    chosen = _within(estimate + log_prior[built], NEAR)
    near, crowd = built[chosen], _crowd(chosen)
    drawing = DRAWING._replace(fresh=max(int(DRAWING.fresh * crowd), 80), kept=max(int(DRAWING.kept * crowd), 40))
    share = crowd * _effort(log_evidence[near] + log_prior[near])
    u, outs = np.zeros((len(near), drawing.kept, width)), np.zeros((len(near), drawing.kept, len(OUTPUTS)))
    estimate, stats = np.zeros(len(near)), np.zeros((len(near), 3))
    own = Part(*(x[chosen] for x in mixtures))
    sample(table, r, e, near, seeds[1, near], own, parts[chosen], drawing, share, u, outs, estimate, stats)
    log_evidence[near] = estimate
    drawn = np.maximum(stats[:, EFFECTIVE], 1.0)
    worth = drawn / (drawn + drawing.kept)  # both samplings, the second from the first, leave their own luck
    return _assemble(found, near, u, outs, worth, log_evidence, float(lost.sum()) / (CLOUD * count))


def _within(log_p: np.ndarray, nats: float) -> np.ndarray:
    """Places within so many nats of the largest."""
    return np.flatnonzero(log_p.max() - log_p < nats)


def _crowd(chosen: np.ndarray) -> float:
    """Share of the full effort that each of so many gets: where a sheet says little, more draws say no more."""
    return min(1.0, MOST_FULL / len(chosen))


def _effort(log_p: np.ndarray) -> np.ndarray:
    """Share of the effort for each hypothesis: a power of its probability over the likeliest one's."""
    effort: np.ndarray = np.exp(STEEP * (log_p - log_p.max()))
    return effort


def _peaks(
    d: int, modes: np.ndarray, unknowns: np.ndarray, lean: np.ndarray, slopes: np.ndarray, heights: np.ndarray,
    hessians: np.ndarray,
) -> list[_Peak]:  # fmt: skip
    """Distinct peaks of one hypothesis, highest first."""
    found: list[_Peak] = []
    for s in np.argsort(-heights):
        centre = modes[s, :d]
        if heights[s] <= FAR or any(np.max(np.abs(centre - p.centre)) < 0.3 for p in found):
            continue
        hessian = hessians[s, :d, :d]
        volume = float(heights[s] + 0.5 * d * LOG_2PI - 0.5 * np.linalg.slogdet(hessian)[1])
        found.append(_Peak(centre, hessian, volume, unknowns[s], lean[s], slopes[s]))
    return found


def _laplace(peaks: list[_Peak]) -> float:
    return _log_sum(np.array([p.log_volume for p in peaks])) if peaks else FAR


def _log_sum(values: np.ndarray) -> float:
    top = float(values.max())
    return top + math.log(float(np.exp(values - top).sum()))


def _mixtures(peaks: list[list[_Peak]], width: int, first: int, rounds: int) -> tuple[Part, np.ndarray]:
    """The first parts of each hypothesis' mixture, one at each peak, with room for more; how many parts each has."""
    m, room = len(peaks), STARTS + rounds + 1
    parts = np.zeros(m, np.int64)
    places, count = np.zeros((m, room, width)), np.zeros((m, room), np.int64)
    p = Part(
        places, count, np.zeros((m, room, width, width)), places.copy(), np.zeros((m, room)), count.copy(),
        places.copy(), np.zeros((m, room, 4)), np.zeros((m, room, 4, width)), np.zeros((m, room, 4, 4)),
    )  # fmt: skip
    for i, own in enumerate(peaks):
        volumes = np.array([peak.log_volume for peak in own])
        among = np.maximum(np.exp(volumes - volumes.max()), 0.1)
        among *= (1.0 - PRIOR_SHARE) / among.sum()
        for peak, of_peak in zip(own, among, strict=True):
            k, d, own_parts = parts[i], len(peak.centre), Part(*(x[i] for x in p))
            stand_part(own_parts, k, d, peak.centre, peak.hessian, int(first * of_peak))
            own_parts.anchor[k, :d], own_parts.start[k] = peak.centre, peak.start
            own_parts.lean[k], own_parts.slopes[k] = peak.lean, peak.slopes
            parts[i] += 1
    return p, parts


def _assemble(
    found: list[Hypothesis],
    near: np.ndarray,
    u: np.ndarray,
    outs: np.ndarray,
    worth: np.ndarray,
    log_evidence: np.ndarray,
    lost: float,
) -> Posterior:
    """One table of samples; a hypothesis that was not sampled keeps its probability but has no samples."""
    log_p = log_evidence + np.array([h.log_prior for h in found])
    which = np.repeat(near, u.shape[1])
    weights = np.exp(log_p[which] - log_p[which].max())
    return Posterior(
        tuple(found), which, u.reshape(-1, u.shape[2]), outs.reshape(-1, outs.shape[2]), weights / weights.sum(),
        np.repeat(worth, u.shape[1]), log_evidence, lost,
    )  # fmt: skip
