"""Evidence and samples for every hypothesis: peaks first, then importance sampling where the peak promises anything."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.circuit.points import OUTPUTS
from loopwright.circuit.steady import CONVERGED
from loopwright.diagnosis.importance import EFFECTIVE, PRIOR_SHARE, Building, Drawing, Part, build, sample, stand_part
from loopwright.diagnosis.likelihood import Evidence
from loopwright.diagnosis.peaks import CLOUD, STARTS, Peak, explore, laplace, within
from loopwright.diagnosis.posterior import weigh
from loopwright.diagnosis.prior import Hypothesis, Table, stack
from loopwright.diagnosis.threads import shared

__all__ = ["Posterior", "draw_prior", "infer", "shortfall"]

STRIDE = 64  # prior draws that one thread takes at a time
WORTH_BUILDING = 7.5  # nats under the best by its peaks, beyond which a hypothesis keeps their estimate, raised
NEAR = 6.5  # nats under the best by its mixture, beyond which it keeps that estimate, raised, and is not sampled
USUAL = 2.0  # nats by which an estimate may be off as others are; what is more is that hypothesis' own affair


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
    _, outs, solved = weigh_draws(table, r, nothing_read(), which, u)
    return outs, solved


def weigh_draws(
    table: Table, r: np.ndarray, e: Evidence, which: np.ndarray, u: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Log of likelihood times prior density (n,), outputs (n, outputs) of given draws, which of them solved (n,)."""
    n = len(which)
    log_post, outs, codes = np.empty(n), np.empty((n, len(OUTPUTS))), np.empty(n, np.int64)

    def to_weigh(at: slice) -> None:
        weigh(table, r, e, which[at], u[at], log_post[at], outs[at], codes[at])

    shared(to_weigh, [slice(i, i + STRIDE) for i in range(0, n, STRIDE)])
    return log_post, outs, codes == CONVERGED


def nothing_read() -> Evidence:
    """Evidence of an empty sheet."""
    none, empty = np.empty(0, np.int64), np.empty(0)
    return Evidence(none, none, empty, empty, empty, none, none, none)


def infer(found: list[Hypothesis], r: np.ndarray, e: Evidence, seed: int) -> Posterior:
    """Posterior over all hypotheses.

    Their peaks give each hypothesis an estimate of its evidence (Laplace). Those within `WORTH_BUILDING` of the best,
    and healthy ones always, get a mixture, which gives a better one, and those within `NEAR` by it are sampled: the
    likelier, the longer. By how much the estimates of those fell short on this sheet, the others' are raised.
    """
    table = stack(found)
    width, count = table.kinds.shape[1], len(found)
    seeds = np.random.default_rng(seed).integers(1, 2**31 - 1, size=(2, count))
    log_prior = np.array([h.log_prior for h in found])
    peaks, lost = explore(found, table, r, e, log_prior)
    by_peaks = np.array([laplace(p) for p in peaks])
    log_evidence = by_peaks.copy()

    healthy = [i for i, h in enumerate(found) if h.fault.id == "healthy"]  # whatever its peaks say: most hangs on it
    built = np.union1d(within(log_evidence + log_prior, WORTH_BUILDING), np.array(healthy, np.int64))
    crowd = _crowd(built)
    building = BUILDING._replace(first=max(int(BUILDING.first * crowd), 80))
    mixtures = [_mixture(peaks[h], width, building.first, int(ROUNDS * crowd)) for h in built]

    def to_build(m: int) -> tuple[int, float]:
        part, parts = mixtures[m]
        return build(table, built[m], r, e, seeds[0, built[m]], part, parts, building)

    parts, estimate = zip(*shared(to_build, range(len(built))), strict=True)
    log_evidence[built] = estimate

    chosen = within(log_evidence[built] + log_prior[built], NEAR)
    near, crowd = built[chosen], _crowd(chosen)
    drawing = DRAWING._replace(fresh=max(int(DRAWING.fresh * crowd), 80), kept=max(int(DRAWING.kept * crowd), 40))
    share = crowd * _effort(log_evidence[near] + log_prior[near])
    u, outs = np.zeros((len(near), drawing.kept, width)), np.zeros((len(near), drawing.kept, len(OUTPUTS)))
    stats = np.zeros((len(near), 3))

    def to_sample(m: int) -> float:
        part, h = mixtures[chosen[m]][0], near[m]
        return sample(table, h, r, e, seeds[1, h], part, parts[chosen[m]], drawing, share[m], u[m], outs[m], stats[m])

    longest_first = np.argsort(-share)
    by_mixture = log_evidence[near]
    log_evidence[near[longest_first]] = shared(to_sample, longest_first)
    log_evidence[np.setdiff1d(built, near)] += shortfall(log_evidence[near] - by_mixture)
    log_evidence[np.setdiff1d(np.arange(count), built)] += shortfall(log_evidence[near] - by_peaks[near])
    drawn = np.maximum(stats[:, EFFECTIVE], 1.0)
    worth = drawn / (drawn + drawing.kept)  # both samplings, the second from the first, leave their own luck
    return _assemble(found, near, u, outs, worth, log_evidence, lost / (CLOUD * count))


def shortfall(off: np.ndarray) -> float:
    """Log of the mean factor by which estimates, `off` (n,) in their logarithms, fell short.

    >>> round(shortfall(np.log([1.0, 3.0])), 4)
    0.6931
    """
    return float(np.log(np.mean(np.exp(np.clip(off, -USUAL, USUAL)))))


def _crowd(chosen: np.ndarray) -> float:
    """Share of the full effort that each of so many gets: where a sheet says little, more draws say no more."""
    return min(1.0, MOST_FULL / len(chosen))


def _effort(log_p: np.ndarray) -> np.ndarray:
    """Share of the effort for each hypothesis: a power of its probability over the likeliest one's."""
    effort: np.ndarray = np.exp(STEEP * (log_p - log_p.max()))
    return effort


def _mixture(peaks: list[Peak], width: int, first: int, rounds: int) -> tuple[Part, int]:
    """The first parts of a hypothesis' mixture, one at each peak, with room for more; how many there are."""
    room = STARTS + rounds + 1
    p = Part(
        np.zeros((room, width)), np.zeros(room, np.int64), np.zeros((room, width, width)), np.zeros((room, width)),
        np.zeros(room), np.zeros(room, np.int64), np.zeros((room, width)), np.zeros((room, 4)),
        np.zeros((room, 4, width)), np.zeros((room, 4, 4)),
    )  # fmt: skip
    volumes = np.array([peak.log_volume for peak in peaks])
    among = np.maximum(np.exp(volumes - volumes.max()), 0.1)
    among *= (1.0 - PRIOR_SHARE) / among.sum()
    for k, (peak, of_peak) in enumerate(zip(peaks, among, strict=True)):
        d = len(peak.centre)
        stand_part(p, k, d, peak.centre, peak.hessian, int(first * of_peak))
        p.anchor[k, :d], p.start[k], p.lean[k], p.slopes[k] = peak.centre, peak.start, peak.lean, peak.slopes
    return p, len(peaks)


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
