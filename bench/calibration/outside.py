"""The same likelihood and prior in an outside sampler: nested sampling by dynesty, in its own Python.

Skilling 2006, Bayesian Anal. 1:833-859 (nested sampling); Speagle 2020, MNRAS 493:3132-3158 (dynesty). Only the
compiled log likelihood is shared; dynesty never sees our peaks, our start mixture or our moves. It is compiled anew in
every process: a cached copy would go on with the likelihood of the day it was compiled.
"""

from __future__ import annotations

import math
import time
from typing import Any

import numpy as np
from numba import njit
from scipy.special import ndtri

from bench.calibration.population import SETS, Case, draw_case
from loopwright.circuit.record import CIRCUIT
from loopwright.circuit.steady import CONVERGED
from loopwright.diagnosis.explain import quantile
from loopwright.diagnosis.likelihood import Evidence, evidence, log_likelihood
from loopwright.diagnosis.posterior import N_OUT, outputs_at
from loopwright.diagnosis.prior import Hypothesis, Table, bend, hypotheses, severity_value, stack
from loopwright.diagnosis.sampler import infer, weigh_draws
from loopwright.fluids import refrigerant_array

LIVE = 1000  # points; with 500 its own error is 0.14 nats, half of what is allowed
SAMPLE = "rslice"  # random slices, dynesty's own choice above 20 unknowns; 200 random walks left log evidences 0.1 high
SLICES = 3  # and one more for every unknown, between two live points: dynesty's own number
AGREED = 0.3  # nats; further apart, dynesty is run once more with `MORE` times the live points and the slices
MORE = 2
REPEATS = 4  # of our own sampler, to tell its scatter from a difference
UNSOLVED = -1e10
DRAWS = 80_000  # of the importance sample, the third opinion
PRIOR_DRAWS, AT_ONCE = 1_000_000, 50_000  # of the prior, the last word where a sheet tells little: gauges and vent
TAILS = 8.0  # degrees of freedom of its proposal
WIDER = 1.4  # covariance of the proposal over that of our particles


@njit
def log_likelihood_at(table: Table, h: int, r: Any, e: Evidence, u: np.ndarray) -> float:
    """Log likelihood of hypothesis `h` at `u`, from a cold start; `UNSOLVED` where the loop does not solve."""
    record = np.empty(1, CIRCUIT)
    x, jac, out = np.empty(4), np.empty((4, 4)), np.empty(N_OUT)
    bend(table, h, u, record.view(np.float64))
    if outputs_at(record[0], r[0], x, jac, False, out) != CONVERGED:
        return UNSOLVED
    return log_likelihood(e, out)


def nested(h: Hypothesis, r: np.ndarray, e: Evidence, seed: int, more: int = 1) -> dict[str, Any]:
    """Log evidence with its own error estimate, and the severity's interval, by dynesty with `more` of its effort."""
    import dynesty

    table, d = stack([h]), len(h.names)
    sampler = dynesty.NestedSampler(
        lambda u: log_likelihood_at(table, 0, r, e, u),
        ndtri,
        d,
        nlive=more * LIVE,
        bound="single",
        sample=SAMPLE,
        slices=more * (SLICES + d),
        rstate=np.random.default_rng(seed),
    )
    sampler.run_nested(dlogz=0.05, print_progress=False)
    result = sampler.results
    weights = np.exp(result.logwt - result.logz[-1])
    found = {
        "log_z": float(result.logz[-1]),
        "log_z_error": float(result.logzerr[-1]),
        "calls": int(np.sum(result.ncall)),
    }
    if h.fault.severity is not None:
        found["severity"] = quantile(severity_value(h, result.samples), weights)
    return found


def importance(h: Hypothesis, r: np.ndarray, e: Evidence, u: np.ndarray, n: int = DRAWS) -> tuple[float, float]:
    """Log evidence by `n` draws from a wide Student's t around particles `u` (particles, unknowns), with its error.

    Unbiased whatever the particles are; its error tells when they were a poor guide.
    """
    d = u.shape[1]
    rng = np.random.default_rng(0)
    low = np.linalg.cholesky(WIDER * np.cov(u.T) + 1e-4 * np.eye(d))
    z, g = rng.standard_normal((n, d)), rng.chisquare(TAILS, n) / TAILS
    drawn = u.mean(0) + (z @ low.T) / np.sqrt(g)[:, None]
    log_q = -0.5 * (TAILS + d) * np.log1p((z * z).sum(1) / g / TAILS) - np.log(np.diag(low)).sum()
    log_q += math.lgamma(0.5 * (TAILS + d)) - math.lgamma(0.5 * TAILS) - 0.5 * d * math.log(TAILS * math.pi)
    return _mean(_log_target(h, r, e, drawn) - log_q)


def from_prior(h: Hypothesis, r: np.ndarray, e: Evidence, n: int = PRIOR_DRAWS, seed: int = 1) -> tuple[float, float]:
    """Log evidence as the mean likelihood of `n` prior draws, with its error: no guide that could miss a corner."""
    d = len(h.names)
    rng = np.random.default_rng(seed)
    log_likelihoods = []
    for begun in range(0, n, AT_ONCE):
        drawn = rng.standard_normal((min(AT_ONCE, n - begun), d))
        log_prior = -0.5 * (drawn * drawn).sum(1) - 0.5 * d * math.log(2.0 * math.pi)
        log_likelihoods.append(_log_target(h, r, e, drawn) - log_prior)
    return _mean(np.concatenate(log_likelihoods))


def _log_target(h: Hypothesis, r: np.ndarray, e: Evidence, drawn: np.ndarray) -> np.ndarray:
    """Log of likelihood times prior density of draws (n, d); minus infinity where the loop does not solve."""
    log_post, _, solved = weigh_draws(stack([h]), r, e, np.zeros(len(drawn), np.int64), drawn)
    return np.where(solved, log_post, -np.inf)


def _mean(log_w: np.ndarray) -> tuple[float, float]:
    """Log of the mean weight, and its standard error."""
    w = np.exp(log_w - log_w.max())
    return float(math.log(w.mean()) + log_w.max()), float(w.std() / w.mean() / math.sqrt(len(w)))


def row_of(seed: int, index: int, likeliest: bool) -> dict[str, Any]:
    """One sheet under one hypothesis (the true one, or the likeliest other), both samplers."""
    case = draw_case(seed, index)
    e, _, _ = evidence(case.test)
    r = refrigerant_array(case.test.vehicle.refrigerant)
    h = _other(case, r, e) if likeliest else case.truth
    infer([h], r, e, 0)  # compiled before it is timed
    begun = time.perf_counter()
    ours = [infer([h], r, e, s) for s in range(REPEATS)]
    ours_seconds = (time.perf_counter() - begun) / REPEATS
    begun = time.perf_counter()
    theirs = nested(h, r, e, index)
    plain, plain_error = importance(h, r, e, np.vstack([p.u[:, : len(h.names)] for p in ours]))
    log_z = np.array([float(p.log_evidence[0]) for p in ours])
    row: dict[str, Any] = {
        "index": index,
        "set": case.reading_set,
        "truth": case.truth.fault.id,
        "hypothesis": h.fault.id,
        "unknowns": len(h.names),
        "ours": round(float(log_z[0]), 3),
        "ours_mean": round(float(log_z.mean()), 3),
        "ours_scatter": round(float(log_z.std(ddof=1)), 3),
        "dynesty": round(theirs["log_z"], 3),
        "dynesty_error": round(theirs["log_z_error"], 3),
        "difference": round(float(log_z[0]) - theirs["log_z"], 3),
        "importance": round(plain, 3),
        "importance_error": round(plain_error, 3),
        "ours_seconds": round(ours_seconds, 2),
        "dynesty_seconds": round(time.perf_counter() - begun, 1),
        "calls": theirs["calls"],
    }
    if case.reading_set == SETS[0]:
        exact, exact_error = from_prior(h, r, e)
        row |= {"prior": round(exact, 3), "prior_error": round(exact_error, 3)}
    if abs(row["difference"]) > AGREED:
        row |= _longer(h, r, e, index)
    if "severity" in theirs:
        mine = quantile(severity_value(h, ours[0].u[:, : len(h.names)]), ours[0].weights)
        a, b = theirs["severity"], mine
        row |= {
            "low": a.low,
            "median": a.median,
            "high": a.high,
            "our_low": b.low,
            "our_median": b.median,
            "our_high": b.high,
        }
        row["median_shift"] = round((b.median - a.median) / max(a.high - a.low, 1e-12), 4)
    return row


def _longer(h: Hypothesis, r: np.ndarray, e: Evidence, index: int) -> dict[str, Any]:
    """Dynesty's log evidence with more effort: its error falls with the root of the live points, and the more slices
    between two of them, the less alike they are."""
    found = nested(h, r, e, index + 1, MORE)
    return {"dynesty_long": round(found["log_z"], 3), "dynesty_long_error": round(found["log_z_error"], 3)}


def _other(case: Case, r: np.ndarray, e: Evidence) -> Hypothesis:
    """The likeliest hypothesis but the truth."""
    posterior = infer(hypotheses(case.test), r, e, 0)
    order = np.argsort(-posterior.probabilities)
    h = posterior.hypotheses[order[0]]
    same = h.fault.id == case.truth.fault.id and h.structure == case.truth.structure and h.variant == case.truth.variant
    return posterior.hypotheses[order[1]] if same else h


def jobs(seed: int, count: int) -> list[tuple[int, int, bool]]:
    """`count` sheets over all reading sets; every second one also under another hypothesis than the truth."""
    listed: list[tuple[int, int, bool]] = []
    for i in range(count):
        listed.append((seed, i, False))
        if i % (2 * len(SETS)) >= len(SETS):
            listed.append((seed, i, True))
    return listed


def gaussian_check(seed: int = 3, d: int = 24, live: int = LIVE) -> tuple[float, float]:
    """Dynesty's log evidence, with the same settings, of a case in closed form, and the truth.

    Prior N(0, I) in d dimensions, likelihood N(1; u_j, 0.3^2) for the first six: Z = N(1; 0, 1 + 0.09)^6.
    """
    import dynesty

    def log_l(u: np.ndarray) -> float:
        return float(-0.5 * np.sum(((u[:6] - 1.0) / 0.3) ** 2) - 6 * math.log(0.3 * math.sqrt(2 * math.pi)))

    sampler = dynesty.NestedSampler(
        log_l, ndtri, d, nlive=live, bound="single", sample=SAMPLE, rstate=np.random.default_rng(seed)
    )
    sampler.run_nested(dlogz=0.05, print_progress=False)
    exact = 6 * (-0.5 / 1.09 - 0.5 * math.log(2 * math.pi * 1.09))
    return float(sampler.results.logz[-1]), exact
