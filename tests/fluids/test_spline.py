"""The splines against SciPy's."""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline, RectBivariateSpline

from loopwright.fluids.spline import coefficients, curve, curve_slope, place, slopes, surface, weights

# Both interpolate the same data with the same end conditions: rounding alone may differ.
SAME = 1e-12


def test_curve_is_the_not_a_knot_spline():
    y = np.random.default_rng(0).normal(size=12)
    ours, theirs = coefficients(y), CubicSpline(np.arange(12), y, bc_type="not-a-knot")
    for x in np.linspace(0.0, 11.0, 57):
        assert curve(ours, x) == pytest.approx(float(theirs(x)), abs=SAME)
        assert curve_slope(ours, x) == pytest.approx(float(theirs(x, 1)), abs=10 * SAME)


def test_curve_is_straight_beyond_its_ends():
    y = np.random.default_rng(1).normal(size=8)
    table, theirs = coefficients(y), CubicSpline(np.arange(8), y)
    assert curve(table, -3.0) == pytest.approx(y[0] - 3.0 * float(theirs(0.0, 1)), abs=10 * SAME)
    assert curve(table, 11.0) == pytest.approx(y[7] + 4.0 * float(theirs(7.0, 1)), abs=10 * SAME)


def test_surface_is_the_bicubic_spline():
    z = np.random.default_rng(2).normal(size=(9, 7))
    table = coefficients(coefficients(z), axis=1)
    theirs = RectBivariateSpline(np.arange(9), np.arange(7), z, s=0)
    for x, y in ((0.0, 0.0), (3.3, 2.7), (8.0, 6.0), (7.9, 0.1)):
        (i, f), (j, g) = place(x, 8), place(y, 6)
        value = surface(table, i, weights(f), j, weights(g))
        assert value == pytest.approx(float(theirs(x, y)[0, 0]), abs=100 * SAME)
        dy = surface(table, i, weights(f), j, slopes(g))
        assert dy == pytest.approx(float(theirs(x, y, dy=1)[0, 0]), abs=100 * SAME)


def test_place_never_leaves_the_grid():
    for x in (-1e300, -1.0, 0.0, 4.999, 5.0, 1e300, float("nan"), float("inf"), float("-inf")):
        i, _ = place(x, 5)
        assert 0 <= i < 5


def test_too_few_nodes_are_refused():
    with pytest.raises(ValueError, match="4 values"):
        coefficients(np.ones(3))
