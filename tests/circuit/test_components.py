"""Component formulas one by one: no jump at the border of any regime, right slope, right limits."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from vehicles import COMPRESSORS, REFRIGERANTS, TRAINS, run, vehicle

from loopwright.circuit.compressor import (
    capacity_share,
    displaced,
    isentropic_efficiency,
    volumetric_efficiency,
    work,
)
from loopwright.circuit.evaporator import frost_factor
from loopwright.circuit.exchange import (
    air_film,
    boiling_film,
    condensing_film,
    series,
    single_phase_film,
    strip_conductance,
)
from loopwright.circuit.expansion import orifice_tube_flow, thermostatic_valve_flow, valve_opening
from loopwright.circuit.inventory import two_phase_density
from loopwright.circuit.lines import approach, friction, restriction_loss
from loopwright.circuit.loop import condenser_outlet, entering_air, evaporator_outlet
from loopwright.circuit.standing import standing_pressure
from loopwright.circuit.steady import CONVERGED, balances
from loopwright.fluids import refrigerant
from loopwright.fluids import refrigerants as fluid

SHARE = st.floats(0.0, 1.0)


def whatever(*strategies):
    """`given` without a deadline: the first call may compile."""
    return lambda test: settings(deadline=None, max_examples=100)(given(*strategies)(test))


def largest_jump(function, low, high, grid=400):
    """Largest jump of a function between two ends: the steepest steps of a grid halved until they vanish or stay.

    A continuous function's step shrinks with its interval; a jump stays. 40 halvings leave 1e-12 of the interval.
    """
    x = np.linspace(low, high, grid + 1)
    y = np.array([function(v) for v in x])
    worst = 0.0
    for k in np.argsort(-np.abs(np.diff(y)))[:6]:
        a, b, fa, fb = x[k], x[k + 1], y[k], y[k + 1]
        for _ in range(40):
            m = 0.5 * (a + b)
            fm = function(m)
            if abs(fm - fa) > abs(fb - fm):
                b, fb = m, fm
            else:
                a, fa = m, fm
        worst = max(worst, abs(fb - fa))
    return worst


def test_the_search_finds_a_jump():
    assert largest_jump(lambda x: 0.01 * (x > 0.3217) + math.sqrt(x), 0.0, 1.0) == pytest.approx(0.01, rel=1e-4)
    assert largest_jump(lambda x: abs(x - 0.3) ** 0.5, 0.0, 1.0) < 1e-5


# Compressor


@whatever(st.floats(5.0, 120.0), st.floats(1.0, 30.0), st.sampled_from([0.0, 1.0]))
def test_efficiencies_stay_between_bounds(speed, ratio, scroll):
    assert 0.03 <= volumetric_efficiency(speed, ratio, scroll) < 1.05
    assert 0.25 <= isentropic_efficiency(speed, ratio, scroll) <= 0.80


@pytest.mark.parametrize("efficiency", [volumetric_efficiency, isentropic_efficiency])
@pytest.mark.parametrize("scroll", [0.0, 1.0])
def test_efficiencies_have_no_jump(efficiency, scroll):
    assert largest_jump(lambda n: efficiency(n, 4.0, scroll), 1.0, 150.0) < 1e-9
    assert largest_jump(lambda pr: efficiency(30.0, pr, scroll), 1.0, 40.0) < 1e-9


@whatever(st.floats(10.0, 60.0), st.floats(1.5, 10.0), st.sampled_from([0.0, 1.0]))
def test_more_lift_delivers_less(speed, ratio, scroll):
    assert volumetric_efficiency(speed, ratio + 0.5, scroll) <= volumetric_efficiency(speed, ratio, scroll)


class TestControls:
    @pytest.fixture(params=COMPRESSORS)
    def c(self, request):
        return vehicle(compressor=request.param)[0]

    def test_no_jump(self, c):
        middle = float(c["control_temperature"])
        assert largest_jump(lambda t: capacity_share(c, t, 3e5, 15e5), middle - 30.0, middle + 5.0) < 1e-9
        assert largest_jump(lambda p: capacity_share(c, 300.0, 3e5, p), 25e5, 40e5) < 1e-9
        assert largest_jump(lambda p: capacity_share(c, 300.0, p, 15e5), 0.2e5, 3e5) < 1e-9

    def test_complementarity(self, c):
        """At full capacity, or holding the set-point; never more than full, and the least the control can reach."""
        t, band = float(c["control_temperature"]), float(c["control_band"])
        assert capacity_share(c, t + 0.01, 3e5, 15e5) == 1.0
        assert capacity_share(c, t - 0.5 * band, 3e5, 15e5) == pytest.approx(0.5)
        least = capacity_share(c, t - 40.0, 3e5, 15e5)
        assert least == pytest.approx(max(float(c["control_minimum"]), 0.05 * math.exp(-12.0)))

    def test_cutouts(self, c):
        """0.15 MPa over the high cut-out, and 20 kPa under the low one, next to nothing is left."""
        high, low = float(c["high_cutout"]), float(c["low_cutout"])
        assert capacity_share(c, 300.0, 3e5, high) == 1.0
        assert capacity_share(c, 300.0, 3e5, high + 0.15e6) < 0.02
        assert capacity_share(c, 300.0, low, 15e5) == 1.0
        assert capacity_share(c, 300.0, low - 0.02e6, 15e5) < 0.02

    def test_stroke_limit_caps_the_share(self, c):
        c["stroke_limit"] = 0.3
        assert capacity_share(c, 300.0, 3e5, 15e5) == 0.3

    def test_wear_and_capacity_scale_the_flow(self, c):
        whole = displaced(c, 300.0, 3e5, 15e5)
        c["flow_fraction"] = 0.5
        assert displaced(c, 300.0, 3e5, 15e5).rate == pytest.approx(0.5 * whole.rate)
        assert displaced(c, 300.0, 3e5, 15e5).share == whole.share == 1.0


@pytest.mark.parametrize("name", REFRIGERANTS)
def test_work_of_a_worn_compressor(name):
    """Between that of a sound one and full recompression of what leaks: 1 to 1/phi times."""
    c, r = vehicle()[0], refrigerant(name)
    sat = fluid.saturation(r, 278.15)
    sound = work(c, r, sat.h_v, sat.s_v, 328.15, 4.0)
    assert sound > 0.0
    c["flow_fraction"] = 0.5
    assert sound < work(c, r, sat.h_v, sat.s_v, 328.15, 4.0) < 2.0 * sound


# Expansion


def tube(**changes):
    """A short tube on a usual day, R-134a: 1.5 mm, 38 mm, 15 bar to 3.5 bar, 5 K subcooled."""
    at = {
        "diameter": 1.5e-3,
        "length": 38.3e-3,
        "pressure_in": 15e5,
        "pressure_out": 3.5e5,
        "saturation_pressure_in": 13.2e5,
        "subcooling": 5.0,
        "quality": 0.0,
        "density_liquid": 1130.0,
        "pressure_critical": 4.059e6,
        "temperature_critical": 374.21,
    }
    return orifice_tube_flow(**(at | changes))


def test_valve_has_no_jump_and_is_proportional():
    assert largest_jump(lambda t: valve_opening(t, 4.0, 5.0), -20.0, 30.0) < 1e-9
    assert valve_opening(-5.0, 4.0, 5.0) == 0.02
    assert valve_opening(9.0, 4.0, 5.0) == valve_opening(30.0, 4.0, 5.0) == 1.0


@whatever(SHARE, st.floats(-5e5, 20e5))
def test_valve_flow_turns_with_the_pressure(opening, drop):
    forward = thermostatic_valve_flow(2e-6, opening, 1100.0, drop, 0.0, 0.4)
    assert forward == -thermostatic_valve_flow(2e-6, opening, 1100.0, -drop, 0.0, 0.4)
    assert forward * drop >= 0.0


@pytest.mark.parametrize("choked", [0.3, 0.65])
def test_vapour_before_a_valve_chokes_it(choked):
    """As steeply as it may: no jump, and no more than the share that is asked for."""
    assert largest_jump(lambda x: thermostatic_valve_flow(2e-6, 1.0, 500.0, 8e5, x, choked), 0.0, 0.9) < 1e-8
    liquid, wet = (thermostatic_valve_flow(2e-6, 1.0, 500.0, 8e5, x, choked) for x in (0.0, 0.5))
    assert wet == pytest.approx((1.0 - choked) * liquid, rel=1e-6)


def test_orifice_tube_has_no_jump():
    assert largest_jump(lambda k: tube(subcooling=k), 0.0, 30.0) < 1e-8
    assert largest_jump(lambda x: tube(subcooling=0.0, quality=x), 0.0, 0.9) < 1e-8
    # 1e-6 kg/s: the flow goes as the root of the drop, so it is steep where it turns.
    assert largest_jump(lambda p: tube(pressure_out=p), 1e5, 20e5) < 1e-6
    assert largest_jump(lambda p: tube(saturation_pressure_in=p), 5e5, 20e5) < 1e-6


@whatever(st.floats(0.5, 15.0), st.floats(8e5, 25e5), st.floats(1e-3, 2e-3))
def test_orifice_tube_slopes(subcooling, pressure, bore):
    """More bore, more inlet pressure at the same saturation, more subcooling and less vapour all pass more."""
    at = {"subcooling": subcooling, "pressure_in": pressure, "saturation_pressure_in": 0.85 * pressure}
    here = tube(diameter=bore, **at)
    assert here > 0.0
    assert tube(diameter=bore * 1.02, **at) > here
    assert tube(diameter=bore, **(at | {"pressure_in": pressure * 1.01})) > here
    assert tube(diameter=bore, quality=0.05, **at) < here
    assert tube(diameter=bore, **(at | {"pressure_out": 2e5})) >= here * 0.98  # choked: hardly more for a lower outlet


def test_vapour_before_the_tube():
    """15 and 25 % less at qualities 0.05 and 0.10 (order of size reported for short tubes; from memory)."""
    full = tube(subcooling=0.0)
    assert tube(subcooling=0.0, quality=0.05) / full == pytest.approx(0.85, abs=0.01)
    assert tube(subcooling=0.0, quality=0.10) / full == pytest.approx(0.75, abs=0.01)


# Heat transfer


@whatever(st.floats(1e-3, 2000.0))
def test_single_phase_film_between_laminar_and_turbulent(flux):
    """Never under laminar 4.36, never under Dittus and Boelter, and not over both added in fourth powers."""
    d, mu, k, cp = 1.2e-3, 1.8e-4, 0.075, 1500.0
    film = single_phase_film(flux, d, mu, k, cp) * d / k
    turbulent = 0.023 * (flux * d / mu) ** 0.8 * (mu * cp / k) ** 0.4
    assert max(4.36, turbulent) * 0.9999 < film < 2.0**0.25 * max(4.36, turbulent) * 1.0001


@whatever(st.floats(0.05, 0.95), st.floats(0.0, 3e-3), st.floats(5.0, 200.0))
def test_two_phase_films_beat_the_liquid(share, boiling, ratio):
    assert condensing_film(100.0, share) > 100.0
    assert boiling_film(100.0, boiling, share, ratio) > 100.0 * (1.0 - share) ** 0.8


@whatever(st.floats(1.0, 1e4), st.floats(1.0, 1e4))
def test_conductances(first, second):
    assert series(first, second) < min(first, second)
    assert strip_conductance(first, second) <= min(
        first, second
    )  # neither more than UA nor more than the air can carry
    assert air_film(first, second, second) == pytest.approx(first)
    assert air_film(first, 2.0 * second, second) < 2.0 * first


def test_frost_blocks_the_air_steadily():
    assert largest_jump(frost_factor, 220.0, 290.0) < 1e-9
    assert (np.diff([frost_factor(t) for t in np.linspace(240.0, 280.0, 200)]) >= 0.0).all()
    assert frost_factor(274.0) == 1.0


# Inventory and lines


@whatever(SHARE, SHARE, st.floats(2.0, 120.0))
def test_two_phase_density_lies_between_the_phases(first, last, vapour):
    density = two_phase_density(first, last, 1150.0, vapour)
    assert vapour * (1.0 - 1e-9) <= density <= 1150.0 * (1.0 + 1e-9)
    assert density == pytest.approx(two_phase_density(last, first, 1150.0, vapour), rel=1e-6)


@pytest.mark.parametrize("liquid", [0.0, 0.1, 0.5])
def test_two_phase_density_joins_its_two_forms(liquid):
    """Under a span of 0.001 the value at the middle stands for the mean; 2e-4, from quality 0 at low pressure."""
    jump = largest_jump(lambda x: two_phase_density(liquid, x, 1300.0, 5.0), liquid, min(liquid + 0.01, 1.0))
    assert jump < 2e-4 * two_phase_density(liquid, liquid + 1e-3, 1300.0, 5.0)


@whatever(st.floats(0.01, 1.0), st.floats(1e-3, 0.1))
def test_lines(area, flow):
    assert restriction_loss(1e8, area) >= 0.0
    assert restriction_loss(1e8, 1.0) == 0.0
    assert friction(1e8, 2.0 * flow, 10.0) == pytest.approx(4.0 * friction(1e8, flow, 10.0))
    assert 0.0 <= approach(2.5, flow, 900.0) < 1.0


# The outlet coordinates


@pytest.mark.parametrize("accumulator", [0.0, 1.0])
@pytest.mark.parametrize("outlet", [evaporator_outlet, condenser_outlet])
def test_outlet_coordinates(accumulator, outlet):
    """No jump anywhere; where one phase is left the other's share is zero (0.04 units stand for a level)."""
    for k in range(3):
        assert largest_jump(lambda x, k=k: outlet(accumulator, x)[k], -3.0, 4.0) < 1e-8
    for x in np.linspace(-3.0, 4.0, 500):
        units, other, level = outlet(accumulator, x)
        assert units >= 0.0
        assert other >= 0.0
        assert 0.0 <= level <= 1.0
        assert units < 0.05 or other == 0.0


# The whole


@pytest.mark.parametrize(("expansion", "storage"), TRAINS)
@pytest.mark.parametrize("compressor", COMPRESSORS)
def test_balances_have_no_jump(expansion, storage, compressor):
    """Along random lines through the space of unknowns every balance is continuous.

    2e-5: the two forms of the two-phase density (above), the only step there is, move the mass balance by that much.
    """
    rng = np.random.default_rng(7)
    for _ in range(6):
        batch = vehicle(expansion, storage, compressor, foreign_gas=float(rng.choice([0.0, 0.004])))
        batch["subcool_share"] = float(rng.choice([0.0, 0.2]))
        c, r, air, f = batch[0], refrigerant("R134a"), entering_air(batch[0]), np.empty(4)
        first = np.array([rng.uniform(250, 290), rng.uniform(305, 350), rng.uniform(-1.5, 1.5), rng.uniform(-1.0, 2.0)])
        last = np.array([rng.uniform(250, 290), rng.uniform(305, 350), rng.uniform(-1.5, 1.5), rng.uniform(-1.0, 2.0)])

        def balance(share, k):
            balances(c, r, air, first + share * (last - first), f)  # noqa: B023
            return f[k]  # noqa: B023

        for k in range(4):
            assert largest_jump(lambda s, k=k: balance(s, k), 0.0, 1.0, grid=300) < 2e-5, k


@pytest.mark.parametrize(("expansion", "storage"), TRAINS)
@pytest.mark.parametrize(
    ("field", "low", "high", "reading", "allowed"),
    [
        ("relative_humidity", 0.05, 0.6, "vent_center", 0.001),
        ("charge", 0.2, 1.2, "high_side", 500.0),
        ("charge", 0.2, 1.2, "low_side", 500.0),
        ("air_temperature", 283.0, 320.0, "high_side", 500.0),
        ("air_temperature", 283.0, 320.0, "low_side_minimum", 500.0),
        ("high_side_area", 0.01, 0.2, "low_side", 500.0),
        ("evaporator_air_fraction", 0.1, 1.0, "vent_center", 0.02),
        ("flow_fraction", 0.1, 1.0, "high_side", 500.0),
    ],
)
def test_solutions_have_no_jump(expansion, storage, field, low, high, reading, allowed):
    """What is read follows a vehicle's condition without a jump through every border: dry, flooded, empty, full, frost.

    Solved to 1e-7 of the balances from cold starts, so to some Pa and mK; 500 Pa is a tenth of a gauge's error.
    """

    def read(value):
        found = run(vehicle(expansion, storage, "fixed", **{"air_temperature": 303.15, field: value}))
        assert found.code == CONVERGED
        return found.read[reading]

    assert largest_jump(read, low, high, grid=100) < allowed


@pytest.mark.parametrize("name", REFRIGERANTS)
def test_standing_pressure_has_no_jump(name):
    """From superheated vapour alone to the first liquid, and on.

    20 Pa: the vapour side comes from a bisection over a fitted compressibility that meets saturation to 1e-5.
    """
    batch, r = vehicle(name=name, foreign_gas=0.002), refrigerant(name)

    def pressure(charge):
        batch["charge"] = charge
        return standing_pressure(batch[0], r, 300.0)

    assert largest_jump(pressure, 0.01, 0.4) < 20.0
