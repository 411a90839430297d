"""Any fluid through CoolProp: phases, blends, and what is refused."""

from itertools import pairwise

import pytest

from loopwright.errors import InputError
from loopwright.fluids import LOOP_REFRIGERANTS, refrigerant
from loopwright.fluids import refrigerants as fast
from loopwright.fluids.saturated import critical_point, saturated_pressures, saturated_temperatures, standing_pressure


@pytest.mark.parametrize("name", LOOP_REFRIGERANTS)
def test_the_tables_say_the_same(name):
    r, s = refrigerant(name), saturated_pressures(name, 303.15)
    fit = 1e-7  # largest fit error of saturation at mid-range, see the cards
    assert s.bubble == s.dew == pytest.approx(fast.saturation_pressure(r, 303.15), rel=fit)
    assert s.liquid_density == pytest.approx(fast.saturation(r, 303.15).rho_l, rel=fit)
    volume, thin = 1.5e-3, 20e-3
    # The compressibility table: 1e-4 at most (R1234yf).
    assert fast.superheated_density(r, standing_pressure(name, 303.15, thin, volume), 303.15) == pytest.approx(
        thin / volume, rel=1e-4
    )


@pytest.mark.parametrize("name", ["R744", "R22", "r290", "R-407C", "R410A", "R454C"])
def test_round_trip(name):
    s = saturated_pressures(name, 283.15)
    assert s.bubble >= s.dew
    assert s.liquid_density > s.vapour_density
    # CoolProp's own search tolerance.
    assert saturated_temperatures(name, s.bubble).bubble == pytest.approx(283.15, abs=1e-5)
    assert saturated_temperatures(name, s.dew).dew == pytest.approx(283.15, abs=1e-5)


@pytest.mark.parametrize("name", ["R407C", "R410A", "R404A", "R507A"])
def test_blends_against_an_equation_of_their_own(name):
    """Lemmon's pseudo-pure equations (2003) were fitted to data of the blend itself, ours mixes the components'."""
    from CoolProp.CoolProp import PropsSI

    s = saturated_pressures(name, 293.15)
    # Their stated uncertainty in bubble pressure is 0.5 % (from memory).
    assert s.bubble == pytest.approx(PropsSI("P", "T", 293.15, "Q", 0, name), rel=5e-3)
    assert s.dew == pytest.approx(PropsSI("P", "T", 293.15, "Q", 1, name), rel=5e-3)


@pytest.mark.parametrize("name", ["R407C", "R410A", "R744", "R134a"])
def test_standing_pressure_rises_with_charge(name):
    s = saturated_pressures(name, 293.15)
    masses = [0.2 * s.vapour_density, s.vapour_density, 2 * s.vapour_density, 0.5 * s.liquid_density, s.liquid_density]
    p = [standing_pressure(name, 293.15, m, 1.0) for m in masses]
    assert all(b >= a * (1 - 1e-9) for a, b in pairwise(p))  # the search for a blend's vapour share stops at 1e-9
    assert p[1] == pytest.approx(s.dew, rel=1e-6)
    assert p[4] == pytest.approx(s.bubble, rel=1e-6)
    assert all(s.dew * (1 - 1e-9) <= x <= s.bubble * (1 + 1e-9) for x in p[1:])


def test_hot_r744_goes_by_its_density():
    p = [standing_pressure("R744", 313.15, m, 1e-3) for m in (0.1, 0.2, 0.3, 0.4, 0.5)]
    assert p == sorted(p)
    # An ideal gas would have 5.9 MPa at 100 kg/m3; attraction takes a fifth to a quarter off near the critical point.
    assert 0.7 < p[0] / (100.0 * 188.92 * 313.15) < 0.85
    assert p[0] < critical_point("R744")[1] < p[-1]


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: saturated_pressures("R744", 304.2), "supercritical"),
        (lambda: saturated_temperatures("R744", 7.4e6), "supercritical"),
        (lambda: saturated_pressures("R999", 290.0), "refrigerant: No equation of state"),
        (lambda: saturated_pressures("R134a", 100.0), "from 169.85 K"),
        (lambda: saturated_pressures("R134a", float("nan")), "temperature"),
        (lambda: saturated_temperatures("R134a", -5.0), "pressure"),
        (lambda: standing_pressure("R744", 313.15, 0.5, 0.0), "volume"),
        (lambda: standing_pressure("R744", float("nan"), 0.5, 1e-3), "temperature"),
    ],
)
def test_refusals_name_the_field(call, says):
    with pytest.raises(InputError, match=says):
        call()


def test_all_problems_at_once():
    with pytest.raises(InputError) as caught:
        standing_pressure("R744", 313.15, -1.0, float("nan"))
    assert [p.field for p in caught.value.problems] == ["mass", "volume"]
