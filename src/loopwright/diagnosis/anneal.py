"""Sequential Monte Carlo for one hypothesis at a time: from Gaussians at the peaks to the posterior, in small steps.

Particles start from a mixture q of Gaussians at the peaks and a share of the prior, and follow the path
q^(1-t) pi^t from t = 0 to 1. Each step of t costs two fifths of the effective particles; they are resampled and moved
by Metropolis-Hastings steps that would leave their own fitted Gaussian unchanged. The product of the mean weights is
the evidence. Source: Del Moral, Doucet and Jasra 2006, J. R. Stat. Soc. B 68:411-436; the move is the preconditioned
Crank-Nicolson step of Cotter et al. 2013, Stat. Sci. 28:424-446 (both from memory).
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numba import njit, prange

from loopwright.circuit.record import CIRCUIT
from loopwright.circuit.steady import CONVERGED
from loopwright.diagnosis.likelihood import Evidence, log_likelihood
from loopwright.diagnosis.posterior import FAR, N_OUT, log_prior_density, outputs_at
from loopwright.diagnosis.prior import Table, bend

__all__ = ["anneal"]

LONG, SHORT = 0.95, 0.55  # lengths of a move in units of the fitted Gaussian's spread, in turn
WIDER_MOVES = 1.3  # covariance of that Gaussian over the particles', so that moves reach the tails
MOST_STEPS = 25
CROWD = 3  # particles of the first cloud over those kept
KEPT = 0.6  # share of particles that a step leaves effective
LOG_2PI = 1.8378770664093453


class Start(NamedTuple):
    """The start mixture: Gaussians (centre, lower factor, its inverse, log share, log determinant) and the prior.

    `start` and `slopes` are the solver's unknowns and derivatives at each peak.
    """

    blobs: int
    centre: np.ndarray
    factor: np.ndarray
    inverse: np.ndarray
    log_share: np.ndarray
    log_det: np.ndarray
    log_defence: float
    start: np.ndarray
    slopes: np.ndarray


class Particles(NamedTuple):
    """A cloud: unknowns u, solver state x and jac, what each would show, log target and log start density."""

    u: np.ndarray
    x: np.ndarray
    jac: np.ndarray
    outs: np.ndarray
    log_pi: np.ndarray
    log_q: np.ndarray


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
def _log_start(u: np.ndarray, d: int, q: Start) -> float:
    """Log density of the start mixture at `u`."""
    terms = np.empty(q.blobs + 1)
    terms[q.blobs] = q.log_defence + log_prior_density(u, d)
    for b in range(q.blobs):
        square = _distance(u, d, q.centre[b], q.inverse[b])
        terms[b] = q.log_share[b] - 0.5 * square - q.log_det[b] - 0.5 * d * LOG_2PI
    top = terms.max()
    return top + math.log(np.exp(terms - top).sum())


@njit(cache=True)
def _next_temperature(t: float, log_w: np.ndarray, kept: float) -> float:
    """Largest step towards 1 that keeps the share `kept` of the particles effective, by bisection."""
    low, high, step = 0.0, 1.0 - t, 1.0 - t
    log_w = np.maximum(log_w, -1e4)
    for turn in range(30):
        w = np.exp(step * (log_w - log_w.max()))
        if w.sum() ** 2 >= kept * len(w) * (w * w).sum():
            if turn == 0:
                return 1.0
            low = step
        else:
            high = step
        step = 0.5 * (low + high)
    return min(t + max(step, 1e-4), 1.0)


@njit(cache=True)
def _fit(u: np.ndarray, d: int, mean: np.ndarray, factor: np.ndarray, inverse: np.ndarray) -> None:
    """Mean and Cholesky factor of the particles' covariance, widened a little, and the factor's
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
            cov[j, k] *= WIDER_MOVES / n
            if j == k:
                cov[j, k] += 1e-6
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
def _empty(n: int, width: int) -> Particles:
    return Particles(
        np.zeros((n, width)), np.empty((n, 4)), np.empty((n, 4, 4)), np.empty((n, N_OUT)), np.empty(n), np.empty(n)
    )


@njit(cache=True)
def _draw_start(d: int, q: Start, i: int, n: int, u: np.ndarray) -> int:
    """Draw the i-th of n particles from the start mixture, in strata of its parts; returns the Gaussian it is near."""
    pick = (i + np.random.random()) / n
    part = q.blobs
    for b in range(q.blobs):
        share = math.exp(q.log_share[b])
        if pick < share:
            part = b
            break
        pick -= share
    z = np.random.standard_normal(d)
    for j in range(d):
        u[j] = z[j]
        if part < q.blobs:
            u[j] = q.centre[part, j]
            for k in range(j + 1):
                u[j] += q.factor[part, j, k] * z[k]
    return min(part, q.blobs - 1)


@njit(cache=True)
def _log_target(
    table: Table, h: int, r: Any, e: Evidence, record: np.ndarray, u: np.ndarray, x: np.ndarray, jac: np.ndarray,
    out: np.ndarray,
) -> float:  # fmt: skip
    """Log of likelihood times prior at `u`; solves from `x` and `jac`, in place, and fills `out`."""
    bend(table, h, u, record.view(np.float64))
    if outputs_at(record[0], r, x, jac, jac[0, 0] != 0.0, out) != CONVERGED:
        return FAR
    return log_likelihood(e, out) + log_prior_density(u, table.parameters[h])


@njit(cache=True)
def _resample(source: Particles, power: float, into: Particles) -> float:
    """Fill `into` from `source` with weights (pi/q)^power, systematically; returns the log of the mean weight."""
    count, n = source.log_pi.shape[0], into.log_pi.shape[0]
    log_w = np.empty(count)
    for i in range(count):
        log_w[i] = power * max(source.log_pi[i] - source.log_q[i], -1e4)
    top = log_w.max()
    weight = np.exp(log_w - top)
    total = weight.sum()
    index = np.empty(n, np.int64)
    position = np.random.random() / n
    running, k = 0.0, 0
    for i in range(count):
        running += weight[i] / total
        while k < n and position < running:
            index[k] = i
            k += 1
            position += 1.0 / n
    index[k:] = count - 1
    into.u[:] = source.u[index]
    into.x[:] = source.x[index]
    into.jac[:] = source.jac[index]
    into.outs[:] = source.outs[index]
    into.log_pi[:] = source.log_pi[index]
    into.log_q[:] = source.log_q[index]
    return top + math.log(total / count)


@njit(cache=True)
def _move(
    table: Table, h: int, r: Any, e: Evidence, q: Start, t: float, rounds: int, p: Particles, record: np.ndarray
) -> float:
    """Move every particle `rounds` times, leaving q^(1-t) pi^t unchanged; returns the share of moves accepted."""
    d = table.parameters[h]
    mean, own, inverse = np.empty(d), np.zeros((d, d)), np.zeros((d, d))
    _fit(p.u, d, mean, own, inverse)
    trial, x, jac, out = np.zeros(p.u.shape[1]), np.empty(4), np.empty((4, 4)), np.empty(N_OUT)
    accepted = 0
    for turn in range(rounds):
        reach = LONG if turn % 2 == 0 else SHORT
        keep = math.sqrt(1.0 - reach * reach)
        for i in range(p.log_pi.shape[0]):
            z = np.random.standard_normal(d)
            for j in range(d):
                trial[j] = mean[j] + keep * (p.u[i, j] - mean[j])
                for k in range(j + 1):
                    trial[j] += reach * own[j, k] * z[k]
            x[:] = p.x[i]
            jac[:, :] = p.jac[i]
            log_pi = _log_target(table, h, r, e, record, trial, x, jac, out)
            if log_pi <= FAR:
                continue
            log_q = _log_start(trial, d, q)
            gain = t * (log_pi - p.log_pi[i]) + (1.0 - t) * (log_q - p.log_q[i])
            gain += 0.5 * (_distance(trial, d, mean, inverse) - _distance(p.u[i], d, mean, inverse))
            if math.log(np.random.random()) < gain:
                p.u[i], p.x[i], p.jac[i], p.outs[i] = trial, x, jac, out
                p.log_pi[i], p.log_q[i] = log_pi, log_q
                accepted += 1
    return accepted / max(rounds * p.log_pi.shape[0], 1)


@njit(cache=True)
def _anneal_one(
    table: Table, h: int, r: Any, e: Evidence, seed: int, q: Start, moves: int, u: np.ndarray, outs: np.ndarray,
    stats: np.ndarray,
) -> float:  # fmt: skip
    """Run one hypothesis; fills particles `u` (n, d) and `outs` (n, outputs); returns the log evidence.

    The first cloud is `CROWD` times as many particles as are kept: drawing is cheap beside moving, and the first step
    is where the start mixture fits worst.
    """
    np.random.seed(seed)
    d, n, width = table.parameters[h], u.shape[0], u.shape[1]
    record = np.empty(1, CIRCUIT)
    source = _empty(CROWD * n, width)
    for i in range(CROWD * n):
        near = _draw_start(d, q, i, CROWD * n, source.u[i])
        source.x[i], source.jac[i] = q.start[near], q.slopes[near]
        source.log_pi[i] = _log_target(table, h, r, e, record, source.u[i], source.x[i], source.jac[i], source.outs[i])
        source.log_q[i] = _log_start(source.u[i], d, q)
    particles = _empty(n, width)
    t, log_z, steps, accepted = 0.0, 0.0, 0, 0.0
    while t < 1.0 and steps < MOST_STEPS:
        t_new = _next_temperature(t, source.log_pi - source.log_q, KEPT)
        log_z += _resample(source, t_new - t, particles)
        t = t_new
        steps += 1
        accepted += _move(table, h, r, e, q, t, moves if t < 1.0 else moves + 1, particles, record)
        source = particles
        particles = _empty(n, width)
    u[:], outs[:] = source.u, source.outs
    stats[0], stats[1] = steps, accepted / steps
    return log_z


@njit(cache=True, parallel=True)
def anneal(
    table: Table, r: np.ndarray, e: Evidence, chosen: np.ndarray, seeds: np.ndarray, blobs: np.ndarray,
    centre: np.ndarray, factor: np.ndarray, inverse: np.ndarray, log_share: np.ndarray, log_det: np.ndarray,
    log_defence: float, start: np.ndarray, slopes: np.ndarray, moves: int, u: np.ndarray, outs: np.ndarray,
    log_evidence: np.ndarray, stats: np.ndarray,
) -> None:  # fmt: skip
    """Every chosen hypothesis.

    `chosen` (m,) rows of `table`, `seeds` (m,), `blobs` (m,) how many Gaussians, then their arrays (m, blobs, ...) as
    in `Start`. Fills `u` (m, n, d), `outs` (m, n, outputs), `log_evidence` (m,), `stats` (m, 2): steps and acceptance.
    """
    for m in prange(chosen.shape[0]):
        q = Start(
            blobs[m], centre[m], factor[m], inverse[m], log_share[m], log_det[m], log_defence, start[m], slopes[m]
        )
        log_evidence[m] = _anneal_one(table, chosen[m], r[0], e, seeds[m], q, moves, u[m], outs[m], stats[m])
