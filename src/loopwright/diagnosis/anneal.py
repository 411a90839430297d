"""Sequential Monte Carlo for one hypothesis at a time: from Gaussians at the peaks to the posterior, in small steps.

Particles start from a mixture q of Gaussians at the peaks and a share of the prior, and follow the path
q^(1-t) pi^t from t = 0 to 1. Each step of t halves the effective particles; they are resampled and moved by
Metropolis-Hastings steps that would leave their own fitted Gaussian unchanged. The product of the mean weights is the
evidence. Source: Del Moral, Doucet and Jasra 2006, J. R. Stat. Soc. B 68:411-436; the move is the preconditioned
Crank-Nicolson step of Cotter et al. 2013, Stat. Sci. 28:424-446 (both from memory).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit, prange

from loopwright.circuit.record import CIRCUIT
from loopwright.circuit.steady import CONVERGED
from loopwright.diagnosis.likelihood import Evidence, log_likelihood
from loopwright.diagnosis.posterior import FAR, N_OUT, log_prior_density, outputs_at
from loopwright.diagnosis.prior import Table, bend

__all__ = ["anneal"]

STEP = 0.7  # length of a move in units of the fitted Gaussian's spread
MOST_STEPS = 25
LOG_2PI = 1.8378770664093453


@njit(cache=True)
def _log_start(u: np.ndarray, d: int, blobs: int, centre: np.ndarray, inverse: np.ndarray, log_share: np.ndarray,
               log_det: np.ndarray, log_defence: float) -> float:  # fmt: skip
    """Log density of the start mixture at `u`: Gaussians (centre, inverse factor) and the prior."""
    terms = np.empty(blobs + 1)
    top = log_defence + log_prior_density(u, d)
    terms[blobs] = top
    for b in range(blobs):
        q = 0.0
        for i in range(d):
            z = 0.0
            for j in range(i + 1):
                z += inverse[b, i, j] * (u[j] - centre[b, j])
            q += z * z
        terms[b] = log_share[b] - 0.5 * q - log_det[b] - 0.5 * d * LOG_2PI
        top = max(top, terms[b])
    total = 0.0
    for b in range(blobs + 1):
        total += math.exp(terms[b] - top)
    return top + math.log(total)


@njit(cache=True)
def _next_temperature(t: float, log_w: np.ndarray, target: float) -> float:
    """Largest step towards 1 that keeps `target` effective particles, by bisection."""
    low, high = 0.0, 1.0 - t
    step = high
    for turn in range(30):
        top = -1e300
        for i in range(log_w.shape[0]):
            top = max(top, step * log_w[i])
        s1, s2 = 0.0, 0.0
        for i in range(log_w.shape[0]):
            w = math.exp(step * log_w[i] - top)
            s1 += w
            s2 += w * w
        if s1 * s1 / s2 >= target:
            if turn == 0:
                return 1.0
            low = step
        else:
            high = step
        step = 0.5 * (low + high)
    return min(t + max(step, 1e-4), 1.0)


@njit(cache=True)
def _fit(u: np.ndarray, d: int, prior_pull: float, mean: np.ndarray, factor: np.ndarray, inverse: np.ndarray) -> None:
    """Mean and Cholesky factor of the particles' covariance, pulled a little to the prior's, and the factor's
    inverse."""
    n = u.shape[0]
    for j in range(d):
        m = 0.0
        for i in range(n):
            m += u[i, j]
        mean[j] = m / n
    cov = np.zeros((d, d))
    for i in range(n):
        for j in range(d):
            a = u[i, j] - mean[j]
            for k in range(j + 1):
                cov[j, k] += a * (u[i, k] - mean[k])
    for j in range(d):
        for k in range(j + 1):
            cov[j, k] *= (1.0 - prior_pull) / n
            if j == k:
                cov[j, k] += 0.05 * prior_pull + 1e-6
            cov[k, j] = cov[j, k]
    low = np.linalg.cholesky(cov)
    for i in range(d):
        for j in range(d):
            factor[i, j] = low[i, j]
    for j in range(d):
        for i in range(d):
            total = 1.0 if i == j else 0.0
            for k in range(i):
                total -= low[i, k] * inverse[k, j]
            inverse[i, j] = total / low[i, i]


@njit(cache=True)
def _distance(u: np.ndarray, d: int, mean: np.ndarray, inverse: np.ndarray) -> float:
    """Squared distance from the mean in the fitted Gaussian's metric."""
    q = 0.0
    for i in range(d):
        z = 0.0
        for j in range(i + 1):
            z += inverse[i, j] * (u[j] - mean[j])
        q += z * z
    return q


@njit(cache=True)
def _anneal_one(
    table: Table, h: int, r: Any, e: Evidence, seed: int, blobs: int, centre: np.ndarray, factor: np.ndarray,
    inverse: np.ndarray, log_share: np.ndarray, log_det: np.ndarray, log_defence: float, start_x: np.ndarray,
    start_jac: np.ndarray, moves: int, u: np.ndarray, outs: np.ndarray, stats: np.ndarray,
) -> float:  # fmt: skip
    """Run one hypothesis; fills particles `u` (n, d) and `outs` (n, outputs); returns the log evidence."""
    np.random.seed(seed)
    d = table.parameters[h]
    n = u.shape[0]
    record = np.empty(1, CIRCUIT)
    flat = record.view(np.float64)
    x = np.empty((n, 4))
    jac = np.empty((n, 4, 4))
    log_pi = np.empty(n)
    log_q = np.empty(n)
    for i in range(n):
        b = blobs  # stratified over the mixture, so that each part gets its share
        pick = (i + np.random.random()) / n
        for k in range(blobs):
            share = math.exp(log_share[k])
            if pick < share:
                b = k
                break
            pick -= share
        z = np.random.standard_normal(d)
        for j in range(d):
            if b == blobs:
                u[i, j] = z[j]
            else:
                total = centre[b, j]
                for k in range(j + 1):
                    total += factor[b, j, k] * z[k]
                u[i, j] = total
        nearest = min(b, blobs - 1)
        x[i] = start_x[nearest]
        jac[i] = start_jac[nearest]
        bend(table, h, u[i], flat)
        if outputs_at(record[0], r, x[i], jac[i], jac[i, 0, 0] != 0.0, outs[i]) == CONVERGED:
            log_pi[i] = log_likelihood(e, outs[i]) + log_prior_density(u[i], d)
        else:
            log_pi[i] = FAR
        log_q[i] = _log_start(u[i], d, blobs, centre, inverse, log_share, log_det, log_defence)
    t = 0.0
    log_z = 0.0
    log_w = np.empty(n)
    mean = np.empty(d)
    own = np.zeros((d, d))
    own_inverse = np.zeros((d, d))
    trial = np.empty(d)
    xt = np.empty(4)
    jt = np.empty((4, 4))
    out = np.empty(N_OUT)
    accepted, tried, steps = 0, 0, 0
    index = np.empty(n, np.int64)
    for _ in range(MOST_STEPS):
        for i in range(n):
            log_w[i] = max(log_pi[i] - log_q[i], -1e4)
        t_new = _next_temperature(t, log_w, 0.5 * n)
        top = -1e300
        for i in range(n):
            top = max(top, (t_new - t) * log_w[i])
        total = 0.0
        for i in range(n):
            total += math.exp((t_new - t) * log_w[i] - top)
        log_z += top + math.log(total / n)
        position = np.random.random() / n  # systematic resampling
        running = 0.0
        k = 0
        for i in range(n):
            running += math.exp((t_new - t) * log_w[i] - top) / total
            while k < n and position < running:
                index[k] = i
                k += 1
                position += 1.0 / n
        while k < n:
            index[k] = n - 1
            k += 1
        u[:] = u[index]
        outs[:] = outs[index]
        x[:] = x[index]
        jac[:] = jac[index]
        log_pi[:] = log_pi[index]
        log_q[:] = log_q[index]
        t = t_new
        steps += 1
        _fit(u, d, 0.1, mean, own, own_inverse)
        rounds = moves if t < 1.0 else moves + 1
        keep = math.sqrt(1.0 - STEP * STEP)
        for _ in range(rounds):
            for i in range(n):
                z = np.random.standard_normal(d)
                for j in range(d):
                    total = 0.0
                    for k in range(j + 1):
                        total += own[j, k] * z[k]
                    trial[j] = mean[j] + keep * (u[i, j] - mean[j]) + STEP * total
                xt[:] = x[i]
                jt[:, :] = jac[i]
                bend(table, h, trial, flat)
                tried += 1
                if outputs_at(record[0], r, xt, jt, jt[0, 0] != 0.0, out) != CONVERGED:
                    continue
                lp = log_likelihood(e, out) + log_prior_density(trial, d)
                lq = _log_start(trial, d, blobs, centre, inverse, log_share, log_det, log_defence)
                gain = t * (lp - log_pi[i]) + (1.0 - t) * (lq - log_q[i])
                gain += 0.5 * (_distance(trial, d, mean, own_inverse) - _distance(u[i, :d], d, mean, own_inverse))
                if math.log(np.random.random()) < gain:
                    u[i, :d] = trial
                    outs[i] = out
                    x[i] = xt
                    jac[i] = jt
                    log_pi[i] = lp
                    log_q[i] = lq
                    accepted += 1
        if t >= 1.0:
            break
    stats[0] = steps
    stats[1] = accepted / max(tried, 1)
    return log_z


@njit(cache=True, parallel=True)
def anneal(
    table: Table, r: np.ndarray, e: Evidence, chosen: np.ndarray, seeds: np.ndarray, blobs: np.ndarray,
    centre: np.ndarray, factor: np.ndarray, inverse: np.ndarray, log_share: np.ndarray, log_det: np.ndarray,
    log_defence: float, start_x: np.ndarray, start_jac: np.ndarray, moves: int, u: np.ndarray, outs: np.ndarray,
    log_evidence: np.ndarray, stats: np.ndarray,
) -> None:  # fmt: skip
    """Every chosen hypothesis.

    `chosen` (m,) rows of `table`, `seeds` (m,), `blobs` (m,) how many Gaussians, then their arrays (m, blobs, ...).
    Fills `u` (m, n, d), `outs` (m, n, outputs), `log_evidence` (m,), `stats` (m, 2): steps and acceptance.
    """
    for m in prange(chosen.shape[0]):
        log_evidence[m] = _anneal_one(
            table, chosen[m], r[0], e, seeds[m], blobs[m], centre[m], factor[m], inverse[m], log_share[m],
            log_det[m], log_defence, start_x[m], start_jac[m], moves, u[m], outs[m], stats[m],
        )  # fmt: skip
