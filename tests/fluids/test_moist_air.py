"""Moist air against PsychroLib, which codes the same equations, and against itself."""

import math

import numpy as np
import psychrolib
import pytest

from loopwright.fluids import moist_air as air

psychrolib.SetUnitSystem(psychrolib.SI)  # a global switch of that library; this is the one place that sets it

ZERO = 273.15
PRESSURES = [61640.0, 89875.0, 101325.0]
STATES = [(t, rh, p) for t in (-15.0, -2.0, 3.0, 21.0, 35.0, 49.0) for rh in (0.05, 0.4, 0.95) for p in PRESSURES]


@pytest.mark.parametrize("t", [-100.0, -40.0, -0.1, 0.0, 0.01, 0.02, 12.0, 60.0, 99.0, 180.0])
def test_saturation_pressure(t):
    # The same formula: rounding only.
    assert air.saturation_pressure_water(t + ZERO) == pytest.approx(psychrolib.GetSatVapPres(t), rel=1e-12)


@pytest.mark.parametrize(("t", "rh", "p"), STATES)
def test_properties(t, rh, p):
    T = t + ZERO
    w = psychrolib.GetHumRatioFromRelHum(t, rh, p)
    assert air.humidity_ratio(T, rh, p) == pytest.approx(w, rel=1e-12)
    assert air.relative_humidity(T, w, p) == pytest.approx(rh, rel=1e-12)
    assert air.enthalpy(T, w) == pytest.approx(psychrolib.GetMoistAirEnthalpy(t, w), rel=1e-12, abs=1e-6)
    assert air.saturated_humidity_ratio(T, p) == pytest.approx(psychrolib.GetSatHumRatio(t, p), rel=1e-12)
    assert air.saturated_enthalpy(T, p) == pytest.approx(psychrolib.GetSatAirEnthalpy(t, p), rel=1e-12, abs=1e-6)
    # Theirs writes the ratio of molar masses as 1.607858, rounded at 8e-7, which water's share lessens.
    assert 1 / air.density(T, p, w) == pytest.approx(psychrolib.GetMoistAirVolume(t, w, p), rel=8e-7)


@pytest.mark.parametrize(("t", "rh", "p"), STATES)
def test_wet_bulb_and_dew_point(t, rh, p):
    w = psychrolib.GetHumRatioFromRelHum(t, rh, p)
    # Theirs stops within 0.001 K.
    assert air.wet_bulb(t + ZERO, w, p) - ZERO == pytest.approx(psychrolib.GetTWetBulbFromHumRatio(t, w, p), abs=1.1e-3)
    assert air.dew_point(w, p) - ZERO == pytest.approx(psychrolib.GetTDewPointFromHumRatio(t, w, p), abs=1.1e-3)


def test_dew_point_is_the_inverse():
    for p in PRESSURES:
        for t in np.linspace(-60.0, 75.0, 200) + ZERO:
            # Between 0 °C and the triple point the two formulas leave a gap of 2e-5 of the pressure, 3e-4 K.
            assert air.dew_point(air.saturated_humidity_ratio(t, p), p) == pytest.approx(t, abs=1e-6)


def test_temperature_at_saturated_enthalpy_is_the_inverse():
    for p in PRESSURES:
        for t in np.linspace(-60.0, 85.0, 400) + ZERO:
            h = air.saturated_enthalpy(t, p)
            assert air.temperature_at_saturated_enthalpy(h, p) == pytest.approx(t, abs=1e-7)  # what it promises


def test_order_of_the_temperatures():
    for t, rh, p in STATES:
        w = air.humidity_ratio(t + ZERO, rh, p)
        dew, bulb = air.dew_point(w, p), air.wet_bulb(t + ZERO, w, p)
        assert dew < bulb < t + ZERO


def test_saturated_air_shows_its_own_temperature():
    w = air.saturated_humidity_ratio(293.15, 101325.0)
    assert air.wet_bulb(293.15, w, 101325.0) == pytest.approx(293.15, abs=1e-6)
    assert air.dew_point(w, 101325.0) == pytest.approx(293.15, abs=1e-6)
    assert air.wet_bulb(293.15, 2 * w, 101325.0) == 293.15


def test_where_a_solver_may_pass():
    """Finite, and rising with temperature, past boiling and far beyond the validity."""
    p = 101325.0
    t = np.arange(100.0, 600.0, 0.5)
    h = np.array([air.saturated_enthalpy(x, p) for x in t])
    assert np.isfinite(h).all()
    assert (np.diff(h) > 0).all()
    # Over the step between ice and water and at the kinks of the ends Newton's steps must still settle.
    back = np.array([air.temperature_at_saturated_enthalpy(x, p) for x in h])
    assert back == pytest.approx(t, abs=1e-3)
    for x in (-1e12, 0.0, 1e12):
        assert math.isfinite(air.temperature_at_saturated_enthalpy(x, p))
    assert air.dew_point(0.0, p) == air.COLDEST
    assert math.isfinite(air.dew_point(1e6, p))
    assert air.humidity_ratio(300.0, 0.0, p) == 0.0


def test_vapour_pressure_has_no_step_where_the_tangent_begins():
    """There value and slope go on."""
    p = air.saturation_pressure_water(330.0) / air.BOILING_SHARE
    w = [air.saturated_humidity_ratio(330.0 + d, p) for d in (-2e-5, -1e-5, 1e-5, 2e-5)]
    # Slopes over 1e-5 K on both sides; curvature alone (0.8 a kelvin at nine tenths) changes them by 2e-5.
    assert (w[1] - w[0]) == pytest.approx(w[3] - w[2], rel=1e-4)
