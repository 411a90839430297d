"""Steady state: Newton's method on the loop's four balances, with Broyden's update and a guarded step."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit, prange

from loopwright.circuit.loop import Air, Loop, entering_air, loop
from loopwright.fluids.refrigerants import saturation_temperature

__all__ = ["CONVERGED", "LOST", "TOLERANCE", "first_guess", "solve", "solve_batch", "solve_from"]

TOLERANCE = 1e-7  # on each scaled balance: a thousand times finer than the 0.1 % to which balances must close
CONVERGED = 0
LOST = 1

_STEP = np.array([1e-4, 1e-4, 1e-6, 1e-6])  # difference steps for the derivatives
_REACH = np.array([9.0, 9.0, 0.5, 0.5])  # longest step in one iteration


@njit(cache=True)
def first_guess(c: Any, air: Air, x: np.ndarray) -> None:
    """Fill `x` (4) with a start that suits a working loop in this weather."""
    x[0] = max(min(air.evaporator_temperature - 22.0, 283.0), c.control_temperature - 0.4 * c.control_band)
    x[1] = air.condenser_temperature + 16.0
    x[2] = 0.4
    x[3] = 0.5 if c.accumulator < 0.5 else 0.3


@njit(cache=True)
def _balances(c: Any, r: Any, air: Air, x: np.ndarray, f: np.ndarray) -> float:
    """Fill `f` (4) with the balances at `x`; returns their largest size."""
    s = loop(c, r, air, x[0], x[1], x[2], x[3])
    f[0] = s.flow_balance
    f[1] = s.evaporator_balance
    f[2] = s.condenser_balance
    f[3] = s.charge_balance
    return max(max(abs(f[0]), abs(f[1])), max(abs(f[2]), abs(f[3])))


@njit(cache=True)
def _jacobian(c: Any, r: Any, air: Air, x: np.ndarray, f: np.ndarray, jac: np.ndarray, work: np.ndarray) -> None:
    """Fill `jac` (4, 4) with forward differences."""
    for k in range(4):
        keep = x[k]
        x[k] = keep + _STEP[k]
        _balances(c, r, air, x, work)
        x[k] = keep
        for i in range(4):
            jac[i, k] = (work[i] - f[i]) / _STEP[k]


@njit(cache=True)
def _eliminate(jac: np.ndarray, f: np.ndarray, lu: np.ndarray, dx: np.ndarray) -> bool:
    """Solve jac dx = -f by elimination with pivots; False where the matrix is singular."""
    for i in range(4):
        dx[i] = -f[i]
        for j in range(4):
            lu[i, j] = jac[i, j]
    for k in range(4):
        pivot = k
        for i in range(k + 1, 4):
            if abs(lu[i, k]) > abs(lu[pivot, k]):
                pivot = i
        if not abs(lu[pivot, k]) > 1e-13:
            return False
        if pivot != k:
            for j in range(4):
                lu[k, j], lu[pivot, j] = lu[pivot, j], lu[k, j]
            dx[k], dx[pivot] = dx[pivot], dx[k]
        for i in range(k + 1, 4):
            m = lu[i, k] / lu[k, k]
            for j in range(k + 1, 4):
                lu[i, j] -= m * lu[k, j]
            dx[i] -= m * dx[k]
    for k in range(3, -1, -1):
        for j in range(k + 1, 4):
            dx[k] -= lu[k, j] * dx[j]
        dx[k] /= lu[k, k]
    return True


@njit(cache=True)
def _norm(f: np.ndarray) -> float:
    return f[0] * f[0] + f[1] * f[1] + f[2] * f[2] + f[3] * f[3]


@njit(cache=True)
def solve_from(c: Any, r: Any, air: Air, x: np.ndarray, jac: np.ndarray, warm: bool, most: int) -> tuple[int, int]:
    """Newton from `x`, in place; returns (code, evaluations).

    `jac` (4, 4) is used as it comes when `warm`, and holds the last approximation afterwards, so a neighbour can start
    from it. `most` bounds the iterations.
    """
    f = np.empty(4)
    fn = np.empty(4)
    xn = np.empty(4)
    dx = np.empty(4)
    lu = np.empty((4, 4))
    size = _balances(c, r, air, x, f)
    count = 1
    fresh = False
    if not warm:
        _jacobian(c, r, air, x, f, jac, fn)
        count += 4
        fresh = True
    for _ in range(most):
        if size < TOLERANCE:
            return CONVERGED, count
        good = _eliminate(jac, f, lu, dx)
        if not good:
            if fresh:
                for k in range(4):  # a flat spot: step off it
                    x[k] += 0.05 * _REACH[k] * (1.0 if k % 2 else -1.0)
                size = _balances(c, r, air, x, f)
            _jacobian(c, r, air, x, f, jac, fn)
            count += 5
            fresh = True
            continue
        cut = 1.0
        for k in range(4):
            cut = min(cut, _REACH[k] / max(abs(dx[k]), 1e-12))
        before = _norm(f)
        t = cut
        accepted = False
        for attempt in range(6):
            for k in range(4):
                xn[k] = x[k] + t * dx[k]
            sizen = _balances(c, r, air, xn, fn)
            count += 1
            after = _norm(fn)
            if after < before * (1.0 - 0.2 * t) or (fresh and attempt == 5):
                accepted = True
                break
            if not fresh:
                break
            t *= 0.4
        if not accepted:
            _jacobian(c, r, air, x, f, jac, fn)
            count += 4
            fresh = True
            continue
        # Broyden's good update with the step just taken; a poor step asks for fresh derivatives instead
        if after < 0.2 * before:
            ss = 0.0
            for k in range(4):
                dx[k] *= t
                ss += (dx[k] / _REACH[k]) ** 2
            for i in range(4):
                jd = 0.0
                for k in range(4):
                    jd += jac[i, k] * dx[k]
                u = (fn[i] - f[i] - jd) / ss
                for k in range(4):
                    jac[i, k] += u * dx[k] / (_REACH[k] * _REACH[k])
            fresh = False
            for k in range(4):
                x[k] = xn[k]
                f[k] = fn[k]
            size = sizen
        else:
            for k in range(4):
                x[k] = xn[k]
                f[k] = fn[k]
            size = sizen
            if size >= TOLERANCE:
                _jacobian(c, r, air, x, f, jac, fn)
                count += 4
                fresh = True
    return (CONVERGED if size < TOLERANCE else LOST), count


@njit(cache=True)
def solve(c: Any, r: Any, air: Air, x: np.ndarray) -> tuple[int, int]:
    """Steady state of one circuit from a cold start, trying further starts where the first is lost.

    Fills `x` (4) and returns (code, evaluations of the loop).
    """
    jac = np.empty((4, 4))
    total = 0
    code = LOST
    for attempt in range(8):
        first_guess(c, air, x)
        if attempt == 1:
            x[0] -= 15.0
            x[2] = 1.5
            x[3] = -0.2
        elif attempt == 2:
            x[0] += 8.0
            x[1] += 15.0
            x[3] = 1.3
        elif attempt == 3:
            x[1] += 4.0
            x[2] = -0.2
            x[3] = 0.05
        elif attempt == 4:
            x[0] -= 30.0
            x[1] -= 8.0
            x[2] = 3.0
            x[3] = -0.6
        elif attempt == 5:
            x[1] += 30.0
            x[3] = 2.5
        elif attempt == 6:
            x[0] += 12.0
            x[1] -= 10.0
            x[2] = 0.1
            x[3] = 0.02
        elif attempt == 7:
            x[0] -= 20.0
            x[1] += 10.0
            x[2] = 0.9
            x[3] = 0.9
        x[1] = min(x[1], saturation_temperature(r, c.high_cutout) - 2.0)
        code, count = solve_from(c, r, air, x, jac, False, 60)
        total += count
        if code == CONVERGED:
            break
    return code, total


@njit(cache=True, parallel=True)
def solve_batch(batch: np.ndarray, r: Any, x: np.ndarray, codes: np.ndarray, counts: np.ndarray) -> None:
    """Steady state of every circuit of a batch, on all cores.

    `batch` (n,) of `CIRCUIT`, `r` (1,) refrigerant record; fills `x` (n, 4), `codes` (n,) and `counts` (n,) of loop evaluations.
    """
    for i in prange(batch.shape[0]):
        c = batch[i]
        code, count = solve(c, r[0], entering_air(c), x[i])
        codes[i] = code
        counts[i] = count


@njit(cache=True)
def state(c: Any, r: Any, x: np.ndarray) -> Loop:
    """The full state of a circuit at solved unknowns `x` (4)."""
    return loop(c, r, entering_air(c), x[0], x[1], x[2], x[3])
