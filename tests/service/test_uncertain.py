"""Propagation of uncertainty against closed forms and against drawing (JCGM 100 and 101)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopwright.errors import InputError
from loopwright.service.hoses import hose_volume
from loopwright.service.uncertain import Uncertain, budget, from_limits, propagate, simulate, total


def test_rectangular_limits():
    """JCGM 100:2008, 4.3.7 (from memory): half-width over the square root of three."""
    assert from_limits(20.0, 0.5).sigma == pytest.approx(0.5 / math.sqrt(3.0))


@given(st.floats(-5, 5), st.floats(0.0, 2.0), st.floats(-5, 5), st.floats(0.0, 2.0))
def test_linear_formula_is_exact(a, sa, b, sb):
    found = propagate(lambda x, y: 3.0 * x - 2.0 * y + 1.0, Uncertain(a, sa), Uncertain(b, sb))
    assert found.value == pytest.approx(3 * a - 2 * b + 1)
    assert found.sigma == pytest.approx(math.hypot(3 * sa, 2 * sb), abs=1e-9)


def test_quantity_used_twice_is_one_input():
    assert propagate(lambda x: x - x, Uncertain(5.0, 1.0)).sigma == 0.0


def test_first_order_agrees_with_drawing():
    """A hose: bore by its square. 4000 draws know a sigma to 1.1 %, so 4 % is some four of its own sigma."""
    bore, length = Uncertain(4.8e-3, 0.1e-3), Uncertain(1.8, 0.02)
    first, drawn = propagate(hose_volume, bore, length), simulate(hose_volume, (bore, length), draws=4000)
    assert drawn.mean.sigma == pytest.approx(first.sigma, rel=0.04)
    # The square of the bore adds its variance to the mean: (0.1 / 4.8)^2 = 0.04 %.
    assert drawn.mean.value == pytest.approx(first.value * (1 + (0.1 / 4.8) ** 2), rel=0.004)
    low, high = first.interval(0.95)
    assert (drawn.low, drawn.high) == (pytest.approx(low, rel=0.01), pytest.approx(high, rel=0.01))


def test_budget_squares_add_up():
    inputs = Uncertain(2.0, 0.1), Uncertain(5.0, 0.2)
    shares = budget(lambda a, b: a * b, *inputs)
    assert math.hypot(*shares) == pytest.approx(propagate(lambda a, b: a * b, *inputs).sigma)


def test_sum_and_probability():
    assert total(Uncertain(1.0, 3.0), Uncertain(-1.0, 4.0)) == Uncertain(0.0, 5.0)
    assert Uncertain(1.0).probability_above(0.9) == 1.0
    assert Uncertain(0.0, 2.0).probability_above(0.0) == 0.5


@pytest.mark.parametrize("bad", [(math.nan, 0.0), (1.0, -0.1), (1.0, math.inf)])
def test_no_measurement(bad):
    with pytest.raises(InputError):
        Uncertain(*bad)
