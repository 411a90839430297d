"""Evidence and weighted samples for every hypothesis: adaptive importance sampling around the peaks."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from loopwright.circuit.points import OUTPUTS
from loopwright.circuit.steady import CONVERGED
from loopwright.diagnosis.likelihood import Evidence
from loopwright.diagnosis.posterior import FAR, STARTS, explore, weigh
from loopwright.diagnosis.prior import Hypothesis, Table, stack

__all__ = ["Posterior", "draw_prior", "infer"]

CLOUD = 48  # prior draws from which each hypothesis picks its starts
ITERATIONS = 12
NEAR = 7.0  # nats under the best peak beyond which a hypothesis keeps its peak estimate and is not sampled
FIRST, SECOND = 300, 700  # samples a hypothesis, first and second stage
DEFENCE = 0.1  # share of samples from the prior, so that no weight can run away
LOG_2PI = math.log(2.0 * math.pi)


@dataclass(frozen=True)
class Posterior:
    """Weighted samples over hypotheses and unknowns.

    `which` (n,) hypothesis of each sample, `u` (n, d) its unknowns, `outputs` (n, outputs) what it would show, `weights`
    (n,) adding up to one over all hypotheses; `log_evidence` (h,) with the prior of the hypothesis left out, `effective`
    (h,) effective samples (0 where only the peak was used), `lost` share of prior draws that did not solve.
    """

    hypotheses: tuple[Hypothesis, ...]
    which: np.ndarray
    u: np.ndarray
    outputs: np.ndarray
    weights: np.ndarray
    log_evidence: np.ndarray
    effective: np.ndarray
    lost: float

    @property
    def probabilities(self) -> np.ndarray:
        """Posterior probability of each hypothesis (h,)."""
        log_p = self.log_evidence + np.array([h.log_prior for h in self.hypotheses])
        p: np.ndarray = np.exp(log_p - log_p.max())
        return p / p.sum()


@dataclass(frozen=True)
class _Blob:
    """One Gaussian of a proposal: centre (d,), lower factor of its covariance (d, d), share, unknowns to start from."""

    centre: np.ndarray
    factor: np.ndarray
    share: float
    start: np.ndarray

    def log_density(self, u: np.ndarray) -> np.ndarray:
        z = np.linalg.solve(self.factor, (u - self.centre).T)
        d = len(self.centre)
        out: np.ndarray = -0.5 * (z * z).sum(0) - np.log(np.diag(self.factor)).sum() - 0.5 * d * LOG_2PI
        return out


def _blob(centre: np.ndarray, covariance: np.ndarray, share: float, start: np.ndarray) -> _Blob:
    d = len(centre)
    factor = np.linalg.cholesky(0.5 * (covariance + covariance.T) + 1e-9 * np.eye(d))
    return _Blob(centre, factor, share, start)


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
    log_post, outs, codes = np.empty(len(which)), np.empty((len(which), len(OUTPUTS))), np.empty(len(which), np.int64)
    start = np.tile([276.0, 320.0, 0.4, 0.5], (len(which), 1))
    weigh(table, r, nothing_read(), which, u, start, log_post, outs, codes)
    return outs, codes == CONVERGED


def nothing_read() -> Evidence:
    """Evidence of an empty sheet."""
    none, empty = np.empty(0, np.int64), np.empty(0)
    return Evidence(none, none, empty, empty, empty, none, none, none)


def infer(found: list[Hypothesis], r: np.ndarray, e: Evidence, seed: int) -> Posterior:
    """Posterior over all hypotheses.

    Peaks by `explore`; hypotheses within reach are sampled from Gaussians at their peaks with a share of the prior, then
    again from a Gaussian fitted to the first weighted samples, all samples weighed against the mixture of both proposals
    (Cornuet et al. 2012, Adaptive multiple importance sampling, Scand. J. Stat. 39:798-812).
    """
    table = stack(found)
    width = table.kinds.shape[1]
    count = len(found)
    modes, unknowns = np.zeros((count, STARTS, width)), np.zeros((count, STARTS, 4))
    heights, hessians = np.full((count, STARTS), FAR), np.zeros((count, STARTS, width, width))
    lost = np.zeros(count, np.int64)
    explore(table, r, e, _cloud(width, 20), ITERATIONS, modes, unknowns, heights, hessians, lost)

    peaks = [_peaks(table.count[h], modes[h], unknowns[h], heights[h], hessians[h]) for h in range(count)]
    log_evidence = np.array([_laplace(p) for p in peaks])
    log_prior = np.array([h.log_prior for h in found])
    best = float(np.max(log_evidence + log_prior))
    rng = np.random.default_rng(seed)
    chosen = [h for h in range(count) if log_evidence[h] + log_prior[h] > best - NEAR]
    samples = _sample(table, r, e, {h: peaks[h] for h in chosen}, FIRST, rng)
    for h, s in samples.items():
        log_evidence[h] = s.log_evidence
    best = float(np.max(log_evidence + log_prior))
    again = {
        h: fitted for h in chosen if log_evidence[h] + log_prior[h] > best - 5.5 and (fitted := samples[h].fitted()) is not None
    }
    for h, more in _sample(table, r, e, again, SECOND, rng).items():
        samples[h] = samples[h].joined(more)
        log_evidence[h] = samples[h].log_evidence
    return _assemble(found, samples, log_evidence, log_prior, width, float(lost.sum()) / (CLOUD * count))


def _peaks(
    d: int, modes: np.ndarray, unknowns: np.ndarray, heights: np.ndarray, hessians: np.ndarray
) -> list[tuple[_Blob, float]]:
    """Distinct peaks of one hypothesis as Gaussians, with the log of the volume under each."""
    found: list[tuple[_Blob, float]] = []
    for s in np.argsort(-heights):
        if heights[s] <= FAR:
            continue
        centre = modes[s, :d].copy()
        if any(np.max(np.abs(centre - b.centre)) < 0.3 for b, _ in found):
            continue
        covariance = np.linalg.inv(hessians[s, :d, :d])
        blob = _blob(centre, covariance, 1.0, unknowns[s].copy())
        volume = float(heights[s] + 0.5 * d * LOG_2PI + np.log(np.diag(blob.factor)).sum())
        found.append((blob, volume))
    return found


def _laplace(peaks: list[tuple[_Blob, float]]) -> float:
    if not peaks:
        return FAR
    return _log_sum(np.array([v for _, v in peaks]))


def _log_sum(values: np.ndarray) -> float:
    top = float(values.max())
    return top + math.log(float(np.exp(values - top).sum()))


@dataclass(frozen=True)
class _Samples:
    """Samples of one hypothesis with the proposals they came from (count, blobs)."""

    u: np.ndarray
    log_post: np.ndarray
    outputs: np.ndarray
    proposals: tuple[tuple[int, tuple[_Blob, ...]], ...]

    @property
    def log_weights(self) -> np.ndarray:
        total = sum(n for n, _ in self.proposals)
        d = self.u.shape[1]
        terms = [-0.5 * (self.u * self.u).sum(1) - 0.5 * d * LOG_2PI + math.log(DEFENCE)]
        for n, blobs in self.proposals:
            terms += [b.log_density(self.u) + math.log(b.share * (1.0 - DEFENCE) * n / total) for b in blobs]
        stacked = np.stack(terms)
        top = stacked.max(0)
        out: np.ndarray = self.log_post - (top + np.log(np.exp(stacked - top).sum(0)))
        return out

    @property
    def log_evidence(self) -> float:
        return _log_sum(self.log_weights) - math.log(len(self.u))

    def fitted(self) -> list[tuple[_Blob, float]] | None:
        """A Gaussian with the weighted mean and covariance, widened a little, beside the first proposals."""
        log_w = self.log_weights
        w = np.exp(log_w - log_w.max())
        w /= w.sum()
        effective = 1.0 / float((w * w).sum())
        d = self.u.shape[1]
        blobs = [(b, math.log(b.share)) for _, bs in self.proposals for b in bs]
        if effective < 1.5 * d:
            return blobs
        mean = w @ self.u
        centred = self.u - mean
        covariance = (centred * w[:, None]).T @ centred
        shrink = min(0.9, d / effective)
        old = blobs[0][0]
        covariance = 1.1 * ((1.0 - shrink) * covariance + shrink * old.factor @ old.factor.T)
        return [(_blob(mean, covariance, 1.0, old.start), math.log(0.7)), *((b, v + math.log(0.3)) for b, v in blobs)]

    def joined(self, other: _Samples) -> _Samples:
        return _Samples(
            np.concatenate([self.u, other.u]),
            np.concatenate([self.log_post, other.log_post]),
            np.concatenate([self.outputs, other.outputs]),
            self.proposals + other.proposals,
        )


def _sample(
    table: Table, r: np.ndarray, e: Evidence, peaks: dict[int, list[tuple[_Blob, float]]], count: int,
    rng: np.random.Generator,
) -> dict[int, _Samples]:  # fmt: skip
    """`count` samples of each hypothesis from its Gaussians (shares by the volume under each) and the prior."""
    if not peaks:
        return {}
    width = table.kinds.shape[1]
    blocks, starts, blobs_of = [], [], {}
    for h, found in peaks.items():
        volumes = np.array([v for _, v in found])
        shares = np.exp(volumes - volumes.max())
        shares = np.maximum(shares / shares.sum(), 0.02)
        shares /= shares.sum()
        blobs = tuple(_Blob(b.centre, b.factor, float(s), b.start) for (b, _), s in zip(found, shares, strict=True))
        blobs_of[h] = blobs
        d = int(table.count[h])
        picks = rng.choice(len(blobs) + 1, size=count, p=np.append(shares * (1.0 - DEFENCE), DEFENCE))
        z = rng.standard_normal((count, d))
        u, start = np.zeros((count, width)), np.empty((count, 4))
        for k, b in enumerate(blobs):
            u[picks == k, :d] = b.centre + z[picks == k] @ b.factor.T
            start[picks == k] = b.start
        u[picks == len(blobs), :d] = z[picks == len(blobs)]
        start[picks == len(blobs)] = blobs[0].start
        blocks.append(u)
        starts.append(start)
    which = np.repeat(np.array(list(peaks), np.int64), count)
    u = np.concatenate(blocks)
    log_post, outs, codes = np.empty(len(which)), np.empty((len(which), len(OUTPUTS))), np.empty(len(which), np.int64)
    weigh(table, r, e, which, u, np.concatenate(starts), log_post, outs, codes)
    result = {}
    for i, h in enumerate(peaks):
        part = slice(i * count, (i + 1) * count)
        d = int(table.count[h])
        result[h] = _Samples(u[part, :d], log_post[part], outs[part], ((count, blobs_of[h]),))
    return result


def _assemble(
    found: list[Hypothesis], samples: dict[int, _Samples], log_evidence: np.ndarray, log_prior: np.ndarray, width: int,
    lost: float,
) -> Posterior:  # fmt: skip
    log_p = log_evidence + log_prior
    p = np.exp(log_p - log_p.max())
    p /= p.sum()
    effective = np.zeros(len(found))
    which, u, outputs, weights = [], [], [], []
    for h, s in samples.items():
        log_w = s.log_weights
        w = np.exp(log_w - log_w.max())
        w /= w.sum()
        effective[h] = 1.0 / float((w * w).sum())
        padded = np.zeros((len(w), width))
        padded[:, : s.u.shape[1]] = s.u
        solved = s.log_post > FAR
        which.append(np.full(int(solved.sum()), h))
        u.append(padded[solved])
        outputs.append(s.outputs[solved])
        weights.append(p[h] * w[solved])
    total = np.concatenate(weights)
    return Posterior(
        tuple(found), np.concatenate(which), np.concatenate(u), np.concatenate(outputs), total / total.sum(),
        log_evidence, effective, lost,
    )  # fmt: skip
