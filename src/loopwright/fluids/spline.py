"""Uniform cubic B-splines: twice continuously differentiable, four neighbours a look-up, one coefficient a node.

Reference: C. de Boor, A Practical Guide to Splines (Springer 1978), chapters IX and X.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit

__all__ = ["Weights", "coefficients", "curve", "curve_slope", "place", "slopes", "surface", "weights"]

Array = Any  # a C-contiguous float64 array; numba sees the array itself
SIXTH = 1.0 / 6.0  # a product costs a fifth of a division


class Weights(NamedTuple):
    """Shares of the four coefficients around a point."""

    a: float
    b: float
    c: float
    d: float


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def place(x: float, cells: int) -> tuple[int, float]:
    """Cell that holds `x` (in node spacings from the first node), and where in it (0 to 1 within the grid).

    Any float is safe, not-a-number included: the cell is always one of the grid's.

    >>> place(3.25, 10)
    (3, 0.25)
    >>> place(12.0, 10)
    (9, 3.0)
    """
    i = int(x)
    if i < 0:
        i = 0
    elif i >= cells:
        i = cells - 1
    return i, x - i


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def weights(f: float) -> Weights:
    """Values of the four cubic basis functions at the fraction `f` of a cell; they add up to one.

    >>> [round(6.0 * w, 9) for w in weights(0.0)]
    [1.0, 4.0, 1.0, 0.0]
    """
    g = 1.0 - f
    ff = f * f
    gg = g * g
    return Weights(
        SIXTH * gg * g, 4.0 * SIXTH - ff * (1.0 - 0.5 * f), 4.0 * SIXTH - gg * (1.0 - 0.5 * g), SIXTH * ff * f
    )


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def slopes(f: float) -> Weights:
    """Derivatives of `weights` with respect to `f`; they add up to zero.

    >>> slopes(0.5)
    Weights(a=-0.125, b=-0.625, c=0.625, d=0.125)
    """
    g = 1.0 - f
    return Weights(-0.5 * g * g, f * (1.5 * f - 2.0), g * (2.0 - 1.5 * g), 0.5 * f * f)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def curve(table: Array, x: float) -> float:
    """Value at `x` [node spacings] of the curve whose coefficients are `table` [n + 2], linear beyond its ends.

    >>> import numpy as np
    >>> round(curve(coefficients(np.arange(6.0) ** 3), 2.5), 9)
    15.625
    """
    cells = table.size - 3
    inside = min(max(x, 0.0), float(cells))
    i, f = place(inside, cells)
    w = weights(f)
    y = w.a * table[i] + w.b * table[i + 1] + w.c * table[i + 2] + w.d * table[i + 3]
    if x != inside:
        y += (x - inside) * curve_slope(table, inside)
    return float(y)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def curve_slope(table: Array, x: float) -> float:
    """Slope of the curve at `x` [node spacings], per node spacing.

    >>> import numpy as np
    >>> round(curve_slope(coefficients(np.arange(6.0) ** 3), 2.5), 9)
    18.75
    """
    i, f = place(x, table.size - 3)
    w = slopes(f)
    return float(w.a * table[i] + w.b * table[i + 1] + w.c * table[i + 2] + w.d * table[i + 3])


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def surface(table: Array, i: int, w: Weights, j: int, v: Weights) -> float:
    """Value in cell (i, j) of the surface whose coefficients are `table` [n + 2, m + 2].

    >>> import numpy as np
    >>> t = coefficients(coefficients(np.outer(np.arange(6.0), np.arange(5.0) ** 2)), axis=1)
    >>> round(surface(t, 2, weights(0.5), 3, weights(0.0)), 9)
    22.5
    """
    y = 0.0
    for k in range(4):
        r = i + k
        row = v.a * table[r, j] + v.b * table[r, j + 1] + v.c * table[r, j + 2] + v.d * table[r, j + 3]
        y += w[k] * row
    return y


def coefficients(values: Array, axis: int = 0) -> Array:
    """Coefficients [n + 2 along `axis`] of the spline through `values` [n], not-a-knot at both ends.

    Raises
    ------
    ValueError : fewer than four values along the axis

    >>> import numpy as np
    >>> coefficients(np.ones(4))
    array([1., 1., 1., 1., 1., 1.])
    """
    y = np.moveaxis(np.asarray(values, dtype=float), axis, 0)
    n = y.shape[0]
    if n < 4:
        raise ValueError(f"a cubic needs 4 values, found {n}")
    matrix = np.zeros((n + 2, n + 2))
    for i in range(n):
        matrix[i + 1, i : i + 3] = (1 / 6, 4 / 6, 1 / 6)
    matrix[0, :5] = matrix[-1, -5:] = (1, -4, 6, -4, 1)
    flat = y.reshape(n, -1)
    zero = np.zeros((1, flat.shape[1]))
    solved = np.linalg.solve(matrix, np.vstack([zero, flat, zero]))
    return np.ascontiguousarray(np.moveaxis(solved.reshape(n + 2, *y.shape[1:]), 0, axis))
