"""Steady state: Newton's method on the loop's four balances, with Broyden's update and a guarded step."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit, prange

from loopwright.circuit.loop import Air, Loop, entering_air, loop
from loopwright.circuit.standing import standing_pressure
from loopwright.fluids.refrigerants import saturation_temperature

__all__ = [
    "CONVERGED",
    "HELD_OFF",
    "LOST",
    "TOLERANCE",
    "balances",
    "first_guess",
    "held_off",
    "jacobian",
    "solve",
    "solve_batch",
    "solve_from",
]

TOLERANCE = 1e-7  # on each scaled balance: a thousand times finer than the 0.1 % to which balances must close
CONVERGED = 0
LOST = 1
LEAST_OPEN = 0.25  # share of its opening that a step leaves a control
HELD_OFF = 2  # the pressure switches never let the compressor run; the loop stands

_STEP = np.array([1e-4, 1e-4, 1e-6, 1e-6])  # difference steps for the derivatives
_REACH = np.array([9.0, 9.0, 0.5, 0.5])  # longest step in one iteration
_LEAST = np.array([195.0, 250.0, -3.8, -1.6])  # bounds within which the unknowns stay while a solution is sought
_MOST = np.array([335.0, 378.0, 4.2, 4.6])


@njit(cache=True)
def first_guess(c: Any, air: Air, x: np.ndarray) -> None:
    """Fill `x` (4) with a start that suits a working loop in this weather."""
    x[0] = max(min(air.evaporator_temperature - 24.0, 283.0), c.control_temperature - 0.4 * c.control_band)
    x[1] = air.condenser_temperature + 21.0
    x[2] = 0.4
    x[3] = 0.5 if c.accumulator < 0.5 else 0.3


@njit(cache=True)
def _coldest(c: Any) -> float:
    """Lowest evaporating temperature worth trying [K]: below it the controls have all but stopped the compressor."""
    return c.control_temperature - 1.25 * c.control_band if c.control_minimum < 1e-3 else _LEAST[0]


@njit(cache=True)
def _coldest_from(c: Any, t: float) -> float:
    """Lowest evaporating temperature [K] to step to from `t`: a step leaves the control `LEAST_OPEN` as open as it is.

    Beyond, the compressor all but stops and every balance lies flat; a step too far would not come back.
    """
    opening = min(1.0 + (t - c.control_temperature) / c.control_band, 1.0)
    if c.control_minimum > 0.05 or opening < 0.1:
        return _coldest(c)
    return max(c.control_temperature - c.control_band * (1.0 - LEAST_OPEN * opening), _coldest(c))


@njit(cache=True)
def balances(c: Any, r: Any, air: Air, x: np.ndarray, f: np.ndarray) -> float:
    """Fill `f` (4) with the balances at `x`; returns their largest size."""
    s = loop(c, r, air, x[0], x[1], x[2], x[3])
    f[0] = s.flow_balance
    f[1] = s.evaporator_balance
    f[2] = s.condenser_balance
    f[3] = s.charge_balance
    return max(abs(f[0]), abs(f[1]), abs(f[2]), abs(f[3]))


@njit(cache=True)
def jacobian(c: Any, r: Any, air: Air, x: np.ndarray, f: np.ndarray, jac: np.ndarray, work: np.ndarray) -> None:
    """Fill `jac` (4, 4) with forward differences."""
    for k in range(4):
        keep = x[k]
        x[k] = keep + _STEP[k]
        balances(c, r, air, x, work)
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
    size = balances(c, r, air, x, f)
    count = 1
    fresh = False
    if not warm:
        jacobian(c, r, air, x, f, jac, fn)
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
                size = balances(c, r, air, x, f)
            jacobian(c, r, air, x, f, jac, fn)
            count += 5
            fresh = True
            continue
        cut = 1.0
        for k in range(4):
            cut = min(cut, _REACH[k] / max(abs(dx[k]), 1e-12))
        before = _norm(f)
        t = cut
        coldest = _coldest_from(c, x[0])
        accepted = False
        for attempt in range(6):
            for k in range(4):
                xn[k] = min(max(x[k] + t * dx[k], _LEAST[k]), _MOST[k])
            xn[0] = max(xn[0], coldest)
            sizen = balances(c, r, air, xn, fn)
            count += 1
            after = _norm(fn)
            if after < before * (1.0 - 0.2 * t) or (fresh and attempt == 5):
                accepted = True
                break
            if not fresh:
                break
            t *= 0.4
        if not accepted:
            jacobian(c, r, air, x, f, jac, fn)
            count += 4
            fresh = True
            continue
        # Broyden's good update with the step just taken; a poor step asks for fresh derivatives instead
        if after < 0.2 * before:
            ss = 0.0
            for k in range(4):
                dx[k] = xn[k] - x[k]
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
                jacobian(c, r, air, x, f, jac, fn)
                count += 4
                fresh = True
    return (CONVERGED if size < TOLERANCE else LOST), count


@njit(cache=True)
def held_off(c: Any, r: Any, air: Air) -> bool:
    """Whether the compressor does not turn at all: not driven, or a standing pressure outside its pressure switches."""
    if c.driven < 0.5:
        return True
    standing = standing_pressure(c, r, air.condenser_temperature)
    return standing > c.high_cutout - 0.3e6 or standing < c.low_cutout


@njit(cache=True)
def _descend(c: Any, r: Any, air: Air, x: np.ndarray, most: int) -> tuple[int, int]:
    """Levenberg and Marquardt's method from `x`, in place: slower than Newton, but every step brings the balances down.

    Returns (code, evaluations). Minimises the sum of squared balances with the unknowns scaled by their reach.
    """
    f, fn, xn, dx, jac = np.empty(4), np.empty(4), np.empty(4), np.empty(4), np.empty((4, 4))
    normal, lu = np.empty((4, 4)), np.empty((4, 4))
    slope = np.empty(4)
    coldest = _coldest(c)
    size = balances(c, r, air, x, f)
    count = 1
    damping = 1e-2
    for _ in range(most):
        if size < TOLERANCE:
            return CONVERGED, count
        jacobian(c, r, air, x, f, jac, fn)
        count += 4
        for i in range(4):
            slope[i] = 0.0
            for k in range(4):
                slope[i] += jac[k, i] * f[k] * _REACH[i]
            for j in range(4):
                normal[i, j] = 0.0
                for k in range(4):
                    normal[i, j] += jac[k, i] * jac[k, j] * _REACH[i] * _REACH[j]
        before = _norm(f)
        better = False
        for _ in range(8):
            for i in range(4):
                for j in range(4):
                    lu[i, j] = normal[i, j]
                lu[i, i] += damping * (normal[i, i] + 1e-6)
            if not _eliminate(lu, slope, jac, dx):
                damping *= 8.0
                continue
            for k in range(4):
                step = min(max(dx[k], -1.0), 1.0) * _REACH[k]
                xn[k] = min(max(x[k] + step, _LEAST[k]), _MOST[k])
            xn[0] = max(xn[0], coldest)
            sizen = balances(c, r, air, xn, fn)
            count += 1
            if _norm(fn) < before:
                better = True
                damping = max(damping * 0.15, 1e-10)
                break
            damping *= 6.0
        if not better:
            break
        for k in range(4):
            x[k] = xn[k]
            f[k] = fn[k]
        size = sizen
    return (CONVERGED if size < TOLERANCE else LOST), count


_STARTS = np.array(  # offsets of the unknowns from the first guess, in the order they are tried
    [
        [0.0, 0.0, 0.0, 0.0],
        [-15.0, 0.0, 1.1, -0.7],
        [8.0, 15.0, 0.0, 0.8],
        [0.0, 4.0, -0.6, -0.45],
        [0.0, 30.0, 0.0, 2.0],
        [-30.0, -8.0, 2.5, -1.1],
        [12.0, -10.0, -0.3, -0.48],
        [3.0, -12.0, -0.2, 0.4],
        [25.0, 20.0, 0.3, -0.3],
        [6.0, 30.0, 0.6, 3.2],
        [2.0, -8.0, 0.3, -1.3],
        [35.0, -2.0, -0.1, -0.9],
    ]
)


@njit(cache=True)
def solve(c: Any, r: Any, air: Air, x: np.ndarray) -> tuple[int, int]:
    """Steady state of one circuit from a cold start, trying further starts where the first is lost.

    Fills `x` (4) and returns (code, evaluations of the loop); `HELD_OFF` where nothing runs and there is nothing to
    solve. Newton's method first, with two starts; then descent.
    """
    if held_off(c, r, air):
        return HELD_OFF, 0
    jac = np.empty((4, 4))
    total = 0
    hottest = saturation_temperature(r, c.high_cutout) - 2.0
    for attempt in range(2 + len(_STARTS)):
        first_guess(c, air, x)
        start = attempt if attempt < 2 else attempt - 2
        for k in range(4):
            x[k] += _STARTS[start, k]
        x[1] = min(x[1], hottest)
        if attempt < 2:
            code, count = solve_from(c, r, air, x, jac, False, 25)
        else:
            code, count = _descend(c, r, air, x, 60)
        total += count
        if code == CONVERGED:
            return code, total
    return LOST, total


@njit(cache=True, parallel=True)
def solve_batch(batch: np.ndarray, r: Any, x: np.ndarray, codes: np.ndarray, counts: np.ndarray) -> None:
    """Steady state of every circuit of a batch, on all cores.

    `batch` (n,) of `CIRCUIT`, `r` (1,) refrigerant record; fills `x` (n, 4), `codes` (n,) and `counts` (n,) of loop
    evaluations.
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
