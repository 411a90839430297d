"""Facts of the trade: common practice, no source. Through the judgement and through the loop.

Pressures are psi gauge and temperatures °F here, as the facts are told.
"""

from functools import cache

import numpy as np
import pytest
from fixed_orifice_unit import run, vehicle
from vehicles import TRAINS

import loopwright
from loopwright.circuit.points import PLACE
from loopwright.circuit.standing import standing_pressure
from loopwright.diagnosis.prior import hypotheses
from loopwright.diagnosis.sampler import draw_prior
from loopwright.fluids import refrigerant, refrigerant_array
from loopwright.readings import read

VALVE = {"refrigerant": "R134a", "expansion": "thermostatic", "storage": "receiver", "compressor": "fixed"}


def kelvin(fahrenheit):
    return (fahrenheit - 32.0) / 1.8 + 273.15


def psi(pascal):
    return (pascal - 101325.0) / 6894.757


def gauge(phase, point, value):
    return {
        "phase": phase, "point": point, "quantity": "pressure", "value": value, "unit": "psi", "reference": "gauge",
    }  # fmt: skip


def sheet(*readings, air=62.0, vehicle=None, observations=()):
    return {
        "schema": 1,
        "vehicle": vehicle or {"refrigerant": "R134a"},
        "weather": {"air_temperature_c": kelvin(air) - 273.15, "relative_humidity_pct": 50},
        "test": {"blower": "high", "minutes_running": 10},
        "readings": list(readings),
        "observations": list(observations),
    }


STANDING = (gauge("standing", "low_side", 60), gauge("standing", "high_side", 60))


def running(low, high, vent):
    return (
        gauge("running", "low_side", low),
        gauge("running", "high_side", high),
        {"phase": "running", "point": "vent_center", "quantity": "temperature", "value": vent, "unit": "°F"},
    )


@cache
def standing_alone():
    return loopwright.judge(sheet(*STANDING, vehicle=VALVE))


class TestStanding:
    """An R-134a vehicle standing in 62 °F air shows about 60 psi on both sides: liquid is present, not how much."""

    @pytest.mark.parametrize("share", [0.3, 0.6, 1.0, 1.4])
    def test_sixty_psi_whatever_the_charge(self, share):
        c = vehicle(charge=0.6 * share)[0]
        assert psi(standing_pressure(c, refrigerant("R134a"), kelvin(62.0))) == pytest.approx(60.0, abs=2.0)

    def test_both_gauges(self):
        read_now = run(vehicle(air_temperature=kelvin(62.0), soak_offset=0.0)).read
        assert psi(read_now["standing_low"]) == pytest.approx(60.0, abs=2.0)
        assert read_now["standing_low"] == read_now["standing_high"]

    def test_says_nothing_of_how_it_runs(self):
        assert standing_alone().verdict == "cannot_say"
        assert "not how much" in standing_alone().reasons[0]

    def test_says_nothing_of_the_charge(self):
        """The charge stays as wide as before: from two thirds of the median or less to a tenth over it or more."""
        charge = standing_alone().states["charge"]
        assert charge.low < 0.67 * charge.median
        assert charge.high > 1.10 * charge.median

    def test_an_empty_one_stands_lower(self):
        c = vehicle(charge=0.02)[0]
        assert psi(standing_pressure(c, refrigerant("R134a"), kelvin(62.0))) < 30.0


class TestRunningAt62:
    """Full cold, high blower, 62 °F, settled: 140 to 150 psi high, 20 to 25 low, 40 °F at the centre vent performs."""

    def test_nothing_known_of_the_vehicle(self):
        judgement = loopwright.judge(sheet(*STANDING, *running(22.5, 145, 40)))
        assert judgement.verdict == "performs"
        assert judgement.causes[0].fault == "healthy"

    @pytest.mark.parametrize(("low", "high"), [(20, 140), (25, 150)])
    def test_corners_of_the_range(self, low, high):
        judgement = loopwright.judge(sheet(*STANDING, *running(low, high, 40), vehicle=VALVE))
        assert judgement.verdict == "performs"
        assert judgement.causes[0].fault == "healthy"


def fleet(fahrenheit, count=150):
    """Healthy fleet at 1500 1/min, full blower, fresh air: outputs by name, weights of the solved."""
    test = sheet(air=fahrenheit)
    test["test"] |= {"compressor_speed_rpm": 1500, "air": "fresh"}
    found = [h for h in hypotheses(read(test)) if h.fault.id == "healthy"]
    which, _, outs, solved = draw_prior(found, refrigerant_array("R134a"), count, 5)
    weights = np.exp([h.log_prior for h in found])[which] * solved
    return {name: outs[:, i] for name, i in PLACE.items()}, weights / weights.sum()


class TestHealthyFleet:
    def test_high_side_is_two_to_three_times_the_air_in_fahrenheit(self):
        """Over usual weather, 75 to 100 °F, for most: the median on each day, and over half of the fleet.

        "Roughly": 1.7 to 3.5 times holds for four in five or more.
        """
        inside = roughly = 0.0
        days = (75.0, 85.0, 95.0, 100.0)
        for day in days:
            out, weight = fleet(day)
            ratio = psi(out["high_side"]) / day
            order = np.argsort(ratio)
            median = ratio[order][np.searchsorted(np.cumsum(weight[order]), 0.5)]
            assert 1.9 < median < 3.0
            inside += float(weight[(ratio > 2.0) & (ratio < 3.0)].sum()) / len(days)
            roughly += float(weight[(ratio > 1.7) & (ratio < 3.5)].sum()) / len(days)
        assert inside > 0.5
        assert roughly > 0.8

    @pytest.mark.parametrize("day", [62.0, 95.0])
    def test_after_start_the_sides_part(self, day):
        out, weight = fleet(day)
        assert weight[out["high_side"] > out["standing_high"]].sum() > 0.99
        assert weight[out["low_side"] < out["standing_low"]].sum() > 0.99

    @pytest.mark.parametrize(("day", "suction_pipes"), [(62.0, 0.90), (95.0, 0.97)])
    def test_low_side_parts_cold_high_side_parts_hot(self, day, suction_pipes):
        """Against the air around. The suction pipe at the compressor is warmed on its way, most where little flows."""
        out, weight = fleet(day, 1000)  # shares near one need many
        for part in ("evaporator_inlet", "evaporator_outlet"):
            assert weight[out[part] < out["ambient_air"]].sum() > 0.99, part
        assert weight[out["compressor_suction"] < out["ambient_air"]].sum() > suction_pipes
        hot = ("compressor_discharge", "condenser_inlet", "condenser_outlet", "drier_outlet", "expansion_inlet")
        for part in hot:
            assert weight[out[part] > out["ambient_air"]].sum() > 0.99, part

    @pytest.mark.parametrize(("expansion", "storage"), TRAINS)
    def test_order_of_hot_and_cold(self, expansion, storage):
        read_now = run(vehicle(expansion, storage, "fixed")).read
        assert read_now["compressor_discharge"] > read_now["condenser_outlet"] > read_now["evaporator_inlet"]
        assert read_now["compressor_discharge"] > read_now["condenser_inlet"] > read_now["condenser_outlet"]


class TestColdSpot:
    """A cold spot on the high side marks a restriction where it is."""

    def test_it_raises_the_high_side_restriction(self):
        readings = running(8, 190, 68)
        spot = {"phase": "running", "point": "drier_outlet", "kind": "felt", "value": "cold_spot"}
        without = loopwright.judge(sheet(*readings, air=90.0, vehicle=VALVE))
        found = loopwright.judge(sheet(*readings, air=90.0, vehicle=VALVE, observations=[spot]))
        before, after = ({c.fault: c.probability for c in j.causes}["high_side_restriction"] for j in (without, found))
        assert found.causes[0].fault == "high_side_restriction"
        assert after > 3.0 * before


def test_two_gauges_cannot_part_overcharge_airflow_and_gas():
    """High side high, low side a little high: evidence within 2 nats (a factor of 7), none of the three convicted."""
    readings = (gauge("running", "low_side", 45), gauge("running", "high_side", 330))
    judgement = loopwright.judge(sheet(*readings, air=90.0, vehicle=VALVE))
    three = ("overcharge", "condenser_airflow_loss", "non_condensable_gas")
    evidence = [judgement.fit.log_evidence[f] for f in three]
    assert max(evidence) - min(evidence) < 2.0
    assert all({c.fault: c.probability for c in judgement.causes}[f] < 0.5 for f in three)
    [airflow] = [c for c in judgement.causes if c.fault == "condenser_airflow_loss"]
    assert {"overcharge", "non_condensable_gas"} & set(airflow.alike)
