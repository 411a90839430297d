"""The standard atmosphere by its own laws; the printed table is in tests/published."""

import numpy as np
import pytest

from loopwright.fluids import atmosphere


def test_hydrostatic_balance():
    """dp = -rho g dz, with gravity falling with the square of the distance from the earth's centre."""
    for z in np.linspace(-400.0, 9000.0, 40):
        dp = (atmosphere.pressure(z + 1.0) - atmosphere.pressure(z - 1.0)) / 2.0
        g = atmosphere.GRAVITY * (atmosphere.RADIUS / (atmosphere.RADIUS + z)) ** 2
        # Difference over 2 m: third-order term below 1e-8.
        assert dp == pytest.approx(-atmosphere.density(z) * g, rel=1e-6)


def test_beyond_the_layer_the_end_values_hold():
    assert (
        atmosphere.pressure(20e3) == atmosphere.pressure(50e3) == pytest.approx(22632.0, rel=1e-4)
    )  # ISO 2533, memory
    assert atmosphere.temperature(20e3) == pytest.approx(216.65)
