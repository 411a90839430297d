"""Compiled inference: for each hypothesis find the peaks, then weigh samples around them.

`explore` walks every hypothesis: a cloud of prior draws, the best of them climbed by damped Gauss-Newton steps whose
derivatives come from the loop's own Jacobian (one evaluation a parameter, no solve). `weigh` solves and scores samples.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit, prange

from loopwright.circuit.loop import entering_air
from loopwright.circuit.points import OUTPUTS, read_idle, read_running
from loopwright.circuit.record import CIRCUIT, FIELDS
from loopwright.circuit.steady import CONVERGED, balances, held_off, jacobian, solve, solve_from
from loopwright.diagnosis.likelihood import TAILS, Evidence, log_likelihood, log_word, predict_reading
from loopwright.diagnosis.prior import Table, bend

__all__ = ["FAR", "STARTS", "climb", "explore", "leanings", "outputs_at", "weigh"]

N_OUT = len(OUTPUTS)
N_FIELDS = len(FIELDS)
STARTS = 3
FAR = -1e30
DRIVEN = FIELDS["driven"].place
_U_STEP = 1e-3


@njit(cache=True)
def _solve_near(c: Any, r: Any, x: np.ndarray, jac: np.ndarray, warm: bool) -> int:
    """Solve from `x` as it comes, falling back on cold starts."""
    air = entering_air(c)
    if warm:
        code, _ = solve_from(c, r, air, x, jac, True, 25)
        if code == CONVERGED:
            return code
    code, _ = solve(c, r, air, x)
    return code


@njit(cache=True)
def outputs_at(c: Any, r: Any, x: np.ndarray, jac: np.ndarray, warm: bool, out: np.ndarray) -> int:
    """Solve a circuit and fill what it would show."""
    if held_off(c, r, entering_air(c)):
        read_idle(c, r, out)
        return CONVERGED
    code = _solve_near(c, r, x, jac, warm)
    if code == CONVERGED:
        read_running(c, r, x, out)
    return code


@njit(cache=True)
def log_prior_density(u: np.ndarray, d: int) -> float:
    total = 0.0
    for j in range(d):
        total += u[j] * u[j]
    return -0.5 * total - 0.5 * d * 1.8378770664093453


@njit(cache=True)
def _derivatives(c: Any, r: Any, x: np.ndarray, jac: np.ndarray) -> None:
    """Fill `jac` (4, 4) with the derivatives of the balances in the unknowns at `x`, zero where nothing runs."""
    jac[:, :] = 0.0
    air = entering_air(c)
    if not held_off(c, r, air):
        f, work = np.empty(4), np.empty(4)
        balances(c, r, air, x, f)
        jacobian(c, r, air, x, f, jac, work)


@njit(cache=True)
def _bend_moved(table: Table, h: int, u: np.ndarray, j: int, flat: np.ndarray) -> float:
    """Bend the record with the j-th parameter one difference step on, towards nought beyond 5; returns the step."""
    keep = u[j]
    step = _U_STEP if keep < 5.0 else -_U_STEP
    u[j] = keep + step
    bend(table, h, u, flat)
    u[j] = keep
    return step


@njit(cache=True)
def leanings(table: Table, h: int, r: Any, u: np.ndarray, x: np.ndarray, record: np.ndarray, jac: np.ndarray,
             lean: np.ndarray) -> None:  # fmt: skip
    """Fill `lean` (4, d) with the derivatives of the solver's unknowns in every parameter, `jac` with the balances'.

    Implicit function theorem: dx/du = -J^-1 dF/du. The balances are evaluated once at each moved parameter, nothing is
    solved. Zero where nothing runs. Leaves `record` bent by `u`.
    """
    d = table.parameters[h]
    flat = record.view(np.float64)
    c = record[0]
    lean[:, :] = 0.0
    bend(table, h, u, flat)
    _derivatives(c, r, x, jac)
    if jac[0, 0] == 0.0:
        return
    f0, f1 = np.empty(4), np.empty(4)
    balances(c, r, entering_air(c), x, f0)
    sound = jac.copy()
    for i in range(4):
        sound[i, i] += 1e-12
    inverse = np.linalg.inv(sound)
    for j in range(d):
        step = _bend_moved(table, h, u, j, flat)
        balances(c, r, entering_air(c), x, f1)
        for k in range(4):
            for i in range(4):
                lean[k, j] -= inverse[k, i] * (f1[i] - f0[i]) / step
    bend(table, h, u, flat)


@njit(cache=True)
def _slopes(
    table: Table, h: int, r: Any, e: Evidence, u: np.ndarray, x: np.ndarray, record: np.ndarray, out: np.ndarray,
    y: np.ndarray, words: np.ndarray, sensitivity: np.ndarray, word_sensitivity: np.ndarray,
) -> None:  # fmt: skip
    """Derivatives of every reading and word in every parameter, the loop's unknowns following by `leanings`."""
    d = table.parameters[h]
    flat = record.view(np.float64)
    c = record[0]
    driven = not held_off(c, r, entering_air(c))
    jac, lean, xm = np.empty((4, 4)), np.empty((4, d)), np.empty(4)
    moved = np.empty(N_OUT)
    if driven:
        leanings(table, h, r, u, x, record, jac, lean)
    for j in range(d):
        step = _bend_moved(table, h, u, j, flat)
        if driven:
            for k in range(4):
                xm[k] = x[k] + step * lean[k, j]
            read_running(c, r, xm, moved)
        else:
            read_idle(c, r, moved)
        for k in range(y.shape[0]):
            sensitivity[k, j] = (predict_reading(e, k, moved) - y[k]) / step
        for m in range(words.shape[0]):
            word_sensitivity[m, j] = (log_word(e.word_kind[m], e.word_place[m], e.word[m], moved) - words[m]) / step
    bend(table, h, u, flat)


@njit(cache=True)
def climb(
    table: Table,
    h: int,
    r: Any,
    e: Evidence,
    u: np.ndarray,
    x: np.ndarray,
    most: int,
    hessian: np.ndarray,
    held: int = -1,
) -> float:
    """Damped Gauss-Newton to a peak of the posterior, in place; returns its log density and fills `hessian` (d, d).

    The unknown `held` stays where it is; none where that is negative.
    """
    d = table.parameters[h]
    n, m = e.value.shape[0], e.word.shape[0]
    record = np.empty(1, CIRCUIT)
    flat = record.view(np.float64)
    out = np.empty(N_OUT)
    jac = np.empty((4, 4))
    y = np.empty(n)
    words = np.empty(m)
    sensitivity = np.empty((n, d))
    word_sensitivity = np.empty((m, d))
    gradient = np.empty(d)
    normal = np.empty((d, d))
    trial = u.copy()
    xt = x.copy()
    bend(table, h, u, flat)
    if outputs_at(record[0], r, x, jac, False, out) != CONVERGED:
        return FAR
    best = log_likelihood(e, out) + log_prior_density(u, d)
    damping = 0.1
    for turn in range(most + 1):
        for k in range(n):
            y[k] = predict_reading(e, k, out)
        for i in range(m):
            words[i] = log_word(e.word_kind[i], e.word_place[i], e.word[i], out)
        _slopes(table, h, r, e, u, x, record, out, y, words, sensitivity, word_sensitivity)
        for j in range(d):
            gradient[j] = -u[j]
            for i in range(d):
                normal[i, j] = 1.0 if i == j else 0.0
        for k in range(n):
            z = (e.value[k] - y[k]) / e.sigma[k]
            weight = (TAILS + 1.0) / (TAILS - 2.0 + z * z) / (e.sigma[k] * e.sigma[k])
            for j in range(d):
                s = sensitivity[k, j] * weight
                gradient[j] += s * (e.value[k] - y[k])
                for i in range(d):
                    normal[i, j] += s * sensitivity[k, i]
        for k in range(m):
            for j in range(d):
                gradient[j] += word_sensitivity[k, j]
                for i in range(d):
                    normal[i, j] += word_sensitivity[k, j] * word_sensitivity[k, i]
        hessian[:d, :d] = normal
        if turn == most:
            break
        improved = 0.0
        for _ in range(5):
            damped = normal.copy()
            for j in range(d):
                damped[j, j] *= 1.0 + damping
            if held >= 0:
                gradient[held] = 0.0
                damped[held, :] = 0.0
                damped[:, held] = 0.0
                damped[held, held] = 1.0
            step = np.linalg.solve(damped, gradient)
            for j in range(d):
                trial[j] = min(max(u[j] + min(max(step[j], -2.0), 2.0), -5.5), 5.5)
            xt[:] = x
            bend(table, h, trial, flat)
            jac_code = outputs_at(record[0], r, xt, jac, False, out)
            value = FAR
            if jac_code == CONVERGED:
                value = log_likelihood(e, out) + log_prior_density(trial, d)
            if value > best:
                improved = value - best
                best = value
                u[:d] = trial[:d]
                x[:] = xt
                damping = max(damping * 0.2, 1e-4)
                break
            damping = damping * 6.0 + 0.05
        if improved < 1e-2:
            bend(table, h, u, flat)
            outputs_at(record[0], r, x, jac, False, out)
            if improved == 0.0 and turn == 0:
                continue
            break
    return best


@njit(cache=True, parallel=True)
def explore(
    table: Table, r: Any, e: Evidence, cloud: np.ndarray, iterations: int,
    modes: np.ndarray, unknowns: np.ndarray, slopes: np.ndarray, lean: np.ndarray, heights: np.ndarray,
    hessians: np.ndarray, lost: np.ndarray,
) -> None:  # fmt: skip
    """Peaks of every hypothesis.

    `cloud` (n, d) standard normal draws shared by all. Fills `modes` (h, STARTS, d), `unknowns` (h, STARTS, 4),
    `slopes` (h, STARTS, 4, 4) of the balances in the unknowns there, `lean` (h, STARTS, 4, d) of the unknowns in u,
    `heights` (h, STARTS) log posterior densities (-1e30 where there is none), `hessians` (h, STARTS, d, d), and `lost`
    (h,) prior draws that did not solve.
    """
    for h in prange(table.base.shape[0]):
        d = table.parameters[h]
        record = np.empty(1, CIRCUIT)
        flat = record.view(np.float64)
        out = np.empty(N_OUT)
        jac = np.empty((4, 4))
        count = cloud.shape[0]
        score = np.full(count, FAR)
        found = np.empty((count, 4))
        lost[h] = 0
        for i in range(count):
            bend(table, h, cloud[i], flat)
            if outputs_at(record[0], r[0], found[i], jac, False, out) != CONVERGED:
                lost[h] += 1
                continue
            score[i] = log_likelihood(e, out)
        order = np.argsort(-score)
        for s in range(STARTS):
            heights[h, s] = FAR
            i = order[s]
            if score[i] <= FAR:
                continue
            for j in range(d):
                modes[h, s, j] = cloud[i, j]
            unknowns[h, s] = found[i]
            heights[h, s] = climb(table, h, r[0], e, modes[h, s], unknowns[h, s], iterations, hessians[h, s])
            leanings(table, h, r[0], modes[h, s], unknowns[h, s], record, slopes[h, s], lean[h, s])


@njit(cache=True, parallel=True)
def weigh(
    table: Table, r: Any, e: Evidence, which: np.ndarray, u: np.ndarray, start: np.ndarray, slopes: np.ndarray,
    log_post: np.ndarray, outs: np.ndarray, codes: np.ndarray,
) -> None:  # fmt: skip
    """Solve and score samples.

    `which` (n,) hypothesis, `u` (n, d), `start` (n, 4) unknowns to start from and `slopes` (n, 4, 4) the balances'
    derivatives there (the peak's; zero where unknown). Fills `log_post` (n,) log of
    likelihood times prior density, `outs` (n, outputs), `codes` (n,).
    """
    for i in prange(which.shape[0]):
        record = np.empty(1, CIRCUIT)
        flat = record.view(np.float64)
        jac = slopes[i]
        h = which[i]
        bend(table, h, u[i], flat)
        c = record[0]
        x = start[i]
        code = CONVERGED
        air = entering_air(c)
        if held_off(c, r[0], air):
            read_idle(c, r[0], outs[i])
        else:
            code, _ = solve_from(c, r[0], air, x, jac, jac[0, 0] != 0.0, 25)
            if code != CONVERGED:
                code, _ = solve(c, r[0], air, x)
            if code == CONVERGED:
                read_running(c, r[0], x, outs[i])
        codes[i] = code
        if code == CONVERGED:
            log_post[i] = log_likelihood(e, outs[i]) + log_prior_density(u[i], table.parameters[h])
        else:
            log_post[i] = FAR
