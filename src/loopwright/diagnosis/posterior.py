"""Compiled inference: for each hypothesis find the peaks, then weigh samples around them.

`scan` tries a cloud of prior draws, `rise` climbs the best of them by damped Gauss-Newton steps whose derivatives come
from the loop's own Jacobian (one evaluation a parameter, no solve). `weigh` solves and scores samples.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from loopwright.circuit.loop import entering_air
from loopwright.circuit.points import OUTPUTS, read_idle, read_running
from loopwright.circuit.record import CIRCUIT, FIELDS
from loopwright.circuit.steady import CONVERGED, balances, held_off, jacobian, solve, solve_from
from loopwright.diagnosis.likelihood import TAILS, Evidence, log_likelihood, log_word, predict_reading
from loopwright.diagnosis.prior import Table, bend

__all__ = ["FAR", "climb", "leanings", "outputs_at", "rise", "scan", "weigh"]

N_OUT = len(OUTPUTS)
N_FIELDS = len(FIELDS)
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


@njit(cache=True, nogil=True)
def scan(
    table: Table, h: int, r: np.ndarray, e: Evidence, cloud: np.ndarray, score: np.ndarray, unknowns: np.ndarray
) -> int:
    """Solve one hypothesis at every draw of the `cloud` (n, d); returns how many did not solve.

    Fills `score` (n,) log likelihoods (`FAR` where it did not solve) and `unknowns` (n, 4).
    """
    record = np.empty(1, CIRCUIT)
    flat = record.view(np.float64)
    out, jac = np.empty(N_OUT), np.empty((4, 4))
    lost = 0
    for i in range(cloud.shape[0]):
        bend(table, h, cloud[i], flat)
        if outputs_at(record[0], r[0], unknowns[i], jac, False, out) == CONVERGED:
            score[i] = log_likelihood(e, out)
        else:
            score[i] = FAR
            lost += 1
    return lost


@njit(cache=True, nogil=True)
def rise(
    table: Table, h: int, r: np.ndarray, e: Evidence, u: np.ndarray, x: np.ndarray, most: int, hessian: np.ndarray,
    slopes: np.ndarray, lean: np.ndarray,
) -> float:  # fmt: skip
    """Climb from `u` (d), where the loop's unknowns are `x` (4), to a peak, in place; returns its log density.

    `most` steps at most; `FAR` where the loop does not solve at `u`. Fills `hessian` (d, d) there, `slopes` (4, 4) of
    the balances in the unknowns, `lean` (4, d) of the unknowns in u.
    """
    height = climb(table, h, r[0], e, u, x, most, hessian)
    leanings(table, h, r[0], u, x, np.empty(1, CIRCUIT), slopes, lean)
    return height


@njit(cache=True, nogil=True)
def weigh(
    table: Table, r: np.ndarray, e: Evidence, which: np.ndarray, u: np.ndarray, log_post: np.ndarray,
    outs: np.ndarray, codes: np.ndarray,
) -> None:  # fmt: skip
    """Solve and score samples: `which` (n,) hypothesis, `u` (n, d).

    Fills `log_post` (n,) log of likelihood times prior density, `outs` (n, outputs), `codes` (n,).
    """
    record = np.empty(1, CIRCUIT)
    flat = record.view(np.float64)
    x, jac = np.empty(4), np.empty((4, 4))
    for i in range(which.shape[0]):
        bend(table, which[i], u[i], flat)
        codes[i] = outputs_at(record[0], r[0], x, jac, False, outs[i])
        log_post[i] = FAR
        if codes[i] == CONVERGED:
            log_post[i] = log_likelihood(e, outs[i]) + log_prior_density(u[i], table.parameters[which[i]])
