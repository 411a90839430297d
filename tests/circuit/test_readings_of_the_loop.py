"""What can be read on the vehicle: cycling, frost, cut-outs, restrictions, gauges, air."""

import numpy as np
import pytest
from vehicles import COMPRESSORS, TRAINS, run, vehicle

from loopwright.circuit.evaporator import frost_factor
from loopwright.circuit.points import CONDENSER_TIME, OUTPUTS, PLACE, ripple
from loopwright.circuit.steady import CONVERGED, HELD_OFF
from loopwright.fluids import refrigerant
from loopwright.fluids import refrigerants as fluid

MILD = {"air_temperature": 288.15, "relative_humidity": 0.4}


def test_outputs_have_their_places():
    assert [PLACE[name] for name in OUTPUTS] == list(range(len(OUTPUTS)))


class TestCycling:
    @pytest.mark.parametrize(("expansion", "storage"), TRAINS)
    @pytest.mark.parametrize("air", [278.15, 288.15, 298.15, 308.15])
    def test_minimum_mean_maximum(self, expansion, storage, air):
        read = run(vehicle(expansion, storage, "fixed", air_temperature=air)).read
        for point in ("low_side", "high_side", "vent_center"):
            assert read[f"{point}_minimum"] <= read[point] <= read[f"{point}_maximum"]
            cycles = read["duty"] < 0.999  # closer to one the ripple is left out
            assert (read[f"{point}_minimum"] < read[f"{point}_maximum"]) == cycles or point == "low_side"

    @pytest.mark.parametrize(("expansion", "storage"), TRAINS)
    def test_a_mild_day_cycles_and_a_hot_one_does_not(self, expansion, storage):
        assert 0.1 < run(vehicle(expansion, storage, "fixed", **MILD)).read["duty"] < 0.9
        assert run(vehicle(expansion, storage, "fixed")).read["duty"] == 1.0

    @pytest.mark.parametrize("compressor", ["variable", "electric"])
    def test_only_a_clutch_cycles(self, compressor):
        found = run(vehicle(compressor=compressor, **MILD))
        assert found.state.share < 0.9
        assert found.read["duty"] == 1.0
        assert found.read["low_side_minimum"] == found.read["low_side_maximum"]

    def test_swing_of_the_low_side_is_the_switch_s(self):
        """Between cut-out and cut-in the evaporating temperature swings by `cycle_swing`, from 0.4 under the mean."""
        found = run(vehicle(**MILD))
        r, swing = refrigerant("R134a"), found.circuit["cycle_swing"]
        mean, least, most = (
            fluid.saturation_temperature(r, found.read[f"low_side{s}"]) for s in ("", "_minimum", "_maximum")
        )
        assert most - least == pytest.approx(swing, rel=0.02)  # the pressures are interpolated, the line is bent
        assert mean - least == pytest.approx(0.4 * swing, rel=0.02)

    @pytest.mark.parametrize("duty", [0.15, 0.4, 0.7, 0.95])
    @pytest.mark.parametrize("cycle", [8.0, 20.0, 60.0])
    def test_ripple_is_that_of_a_first_order_system(self, duty, cycle):
        """Against the system itself, stepped through thirty cycles."""
        dt = cycle / 4000.0
        on = (np.arange(4000) < duty * 4000) / duty  # a wave whose mean is one
        y, seen = 1.0, []
        for _ in range(30):
            seen = []
            for drive in on:
                y += dt / CONDENSER_TIME * (drive - y)
                seen.append(y)
        seen = np.array(seen)
        expected = seen.max() - 1.0, 1.0 - seen.min(), seen[on > 0.0].mean()
        assert ripple(duty, cycle) == pytest.approx(expected, abs=2e-3)

    def test_a_steady_clutch_has_no_ripple(self):
        assert ripple(1.0, 20.0) == (0.0, 0.0, 1.0)

    def test_hot_gas_is_that_of_the_time_in_which_it_flows(self):
        """The slower the clutch, the further apart the sides are while gas leaves; the loop itself is the same."""
        slow, fast = (run(vehicle(cycle_time=t, **MILD)) for t in (40.0, 10.0))
        assert slow.state.discharge_temperature == pytest.approx(fast.state.discharge_temperature, abs=1e-3)
        for point in ("compressor_discharge", "condenser_inlet"):
            assert slow.read[point] > fast.read[point] + 1.0
        assert slow.read["condenser_outlet"] == pytest.approx(fast.read["condenser_outlet"], abs=1e-3)


class TestControls:
    @pytest.mark.parametrize("compressor", COMPRESSORS)
    def test_set_point_is_held_below_full_capacity(self, compressor):
        """The evaporating temperature stays within the band below the set-point while the load falls to a third."""
        for air in (285.15, 289.15, 293.15):
            found = run(vehicle(compressor=compressor, air_temperature=air, relative_humidity=0.3))
            c, s = found.circuit, found.state
            if s.share < 1.0:
                assert c["control_temperature"] - c["control_band"] <= s.evaporating_temperature
                assert s.evaporating_temperature <= c["control_temperature"]

    @pytest.mark.parametrize(("expansion", "storage"), TRAINS)
    @pytest.mark.parametrize("compressor", COMPRESSORS)
    def test_high_cutout_is_held(self, expansion, storage, compressor):
        """With next to no condenser air the mean pressure stays on the switch, within its 0.15 MPa band."""
        found = run(vehicle(expansion, storage, compressor, condenser_air_fraction=0.12, air_temperature=313.15))
        assert found.code == CONVERGED
        assert found.state.share < 1.0
        assert found.state.discharge_pressure < found.circuit["high_cutout"] + 0.15e6

    def test_low_cutout_is_held(self):
        """A nearly shut suction line: the switch keeps the suction off vacuum, within its 20 kPa band and its tail."""
        found = run(vehicle(suction_area=0.03, control_temperature=230.0))
        assert found.code == CONVERGED
        assert found.state.share < 1.0
        assert found.state.suction_pressure > found.circuit["low_cutout"] - 0.025e6

    def test_idle_shows_one_pressure(self):
        found = run(vehicle(driven=0.0))
        assert found.code == HELD_OFF
        assert found.read["low_side"] == found.read["high_side"] > 0.0
        assert found.read["cooling"] == found.read["power"] == found.read["duty"] == 0.0
        assert found.read["vent_center"] > found.read["cabin_air_in"]


class TestPipeSurfaces:
    def test_a_pipe_without_flow_takes_on_the_warmth_around_it(self):
        """The suction pipe of a starved loop reads nearer to the air under the hood than its gas is."""
        usual, starved = run(vehicle(pipe_contact=0.05)), run(vehicle(pipe_contact=0.05, expansion_area=0.06))
        share = [
            (f.read["evaporator_outlet"] - f.state.evaporator_out_temperature)
            / (f.circuit["air_temperature"] + f.circuit["underhood_offset"] - f.state.evaporator_out_temperature)
            for f in (usual, starved)
        ]
        assert share[0] == pytest.approx(0.05)
        assert 0.1 < share[1] < 0.6

    def test_idle_pipes_lie_between_the_airs_around_them(self):
        read = run(vehicle(driven=0.0, underhood_offset=20.0, cabin_offset=-5.0)).read
        front, hood = read["condenser_outlet"], read["ambient_air"] + 20.0
        assert front < read["expansion_inlet"] < read["compressor_suction"] < hood
        assert read["evaporator_inlet"] == pytest.approx(read["cabin_air_in"])


@pytest.mark.parametrize("compressor", COMPRESSORS)
def test_too_much_oil_leaves_the_suction_pipe_cold(compressor):
    """The valve takes the risen boiling point for superheat; liquid that the oil held boils on its way (`oil.py`)."""
    usual, oily = (run(vehicle(compressor=compressor, oil_fraction=w)).read for w in (0.025, 0.125))
    warming = [r["compressor_suction"] - r["evaporator_outlet"] for r in (usual, oily)]
    assert warming[1] < warming[0] - 0.5
    assert oily["compressor_discharge"] < usual["compressor_discharge"] - 3.0
    assert oily["superheat"] > usual["superheat"] - 1.0  # as the bulb feels it


class TestFrost:
    @pytest.mark.parametrize(("expansion", "storage"), TRAINS)
    def test_a_coil_without_frost_protection_freezes(self, expansion, storage):
        """Control set far down and little air: the coil is well below freezing."""
        frozen = run(vehicle(expansion, storage, "fixed", control_temperature=240.0, evaporator_air=0.05, **MILD))
        assert frozen.code == CONVERGED
        assert frozen.state.evaporating_temperature < 268.0
        held = run(vehicle(expansion, storage, "fixed", control_temperature=272.0, evaporator_air=0.05, **MILD))
        assert held.state.evaporating_temperature > 268.0

    def test_ice_holds_air_back(self):
        """What reaches the vents is what passes the iced coil, over the reference flow and over the blower's step."""
        iced = run(vehicle(control_temperature=240.0, evaporator_air=0.05, blower_step=0.45, **MILD))
        passed = frost_factor(iced.state.evaporator_mean_temperature + 1.0)
        assert passed < 0.9
        share = 0.05 / iced.circuit["evaporator_air_reference"] * passed
        assert iced.read["vent_air_fraction"] == pytest.approx(share)
        assert iced.read["vent_air_at_step"] == pytest.approx(share / 0.45)


class TestGaugesAndPorts:
    def test_offsets_shift_the_gauge_alone(self):
        plain, off = run(vehicle()), run(vehicle(low_gauge_offset=3e4, high_gauge_offset=-5e4))
        assert off.read["low_side"] - plain.read["low_side"] == pytest.approx(3e4)
        assert off.read["high_side"] - plain.read["high_side"] == pytest.approx(-5e4)
        assert off.read["vent_center"] == plain.read["vent_center"]
        assert (off.unknowns == plain.unknowns).all()

    def test_contamination_shifts_every_pressure_in_proportion(self):
        plain, mixed = run(vehicle()), run(vehicle(contamination=0.2))
        for point in ("low_side", "high_side", "standing_low", "standing_high", "after_stop_common"):
            assert mixed.read[point] == pytest.approx(1.2 * plain.read[point])

    def test_port_in_the_liquid_line_reads_less(self):
        assert run(vehicle(high_port_liquid=1.0)).read["high_side"] < run(vehicle()).read["high_side"]

    def test_suction_restriction_by_the_port(self):
        """At the compressor the low side falls; at the evaporator's side of the restriction it rises."""
        plain = run(vehicle()).read["low_side"]
        at_compressor = run(vehicle(suction_area=0.15)).read["low_side"]
        upstream = run(vehicle(suction_area=0.15, suction_port_upstream=1.0)).read["low_side"]
        assert at_compressor < plain < upstream

    @pytest.mark.parametrize(
        ("at_outlet", "port_behind", "low"), [(1.0, 0.0, True), (0.0, 1.0, True), (0.0, 0.0, False)]
    )
    def test_high_port_by_the_restriction(self, at_outlet, port_behind, low):
        """A liquid-line port behind the restriction reads low, one before a blocked drier does not (Army manuals).

        TM 9-2320-363-34-1, obtained: page: drier inlet blocked: high; outlet blocked: low - as seen from their ports.
        """
        liquid = {"high_port_liquid": 1.0, "restriction_at_outlet": at_outlet, "high_port_behind": port_behind}
        plain, narrow = run(vehicle(**liquid)), run(vehicle(high_side_area=0.025, **liquid))
        fell = plain.read["high_side"] - narrow.read["high_side"]
        assert (fell > 4e5) == low

    def test_a_port_in_the_discharge_line_is_before_every_restriction(self):
        narrow = {"high_side_area": 0.025, "high_port_liquid": 0.0}
        before, behind = (run(vehicle(**narrow, high_port_behind=b)).read["high_side"] for b in (0.0, 1.0))
        assert before == behind


class TestColdSpot:
    """A restriction marks its place by a step in temperature (common practice, no source)."""

    @pytest.mark.parametrize(("expansion", "storage"), TRAINS)
    def test_none_without_a_restriction(self, expansion, storage):
        assert abs(run(vehicle(expansion, storage, "fixed")).read["cold_spot"]) < 0.5

    @pytest.mark.parametrize(
        ("at_outlet", "area", "cold"), [(1.0, 0.012, "drier_outlet"), (0.0, 0.018, "expansion_inlet")]
    )
    def test_the_step_is_where_the_restriction_is(self, at_outlet, area, cold):
        """Before the drier liquid backs up in the condenser and comes colder, so that less of it flashes."""
        read = run(vehicle(high_side_area=area, restriction_at_outlet=at_outlet)).read
        warm = "condenser_outlet" if at_outlet else "drier_outlet"
        assert read["cold_spot"] > 8.0
        assert read[warm] - read[cold] > 7.0
        if not at_outlet:
            # the same liquid, but the condenser's pipe stands in the air before it, the drier's under the hood
            assert read["condenser_outlet"] == pytest.approx(read["drier_outlet"], abs=1.5)

    def test_the_step_grows_with_the_restriction(self):
        steps = [run(vehicle(high_side_area=a)).read["cold_spot"] for a in (0.06, 0.04, 0.03, 0.02)]
        assert (np.diff(steps) > 0.0).all()

    def test_a_restricted_valve_leaves_the_line_warm(self):
        assert run(vehicle(expansion_area=0.3)).read["cold_spot"] < 0.5


@pytest.mark.parametrize("left", [1.0, 0.5, 0.25])
def test_a_duct_warms_little_air_more(left):
    """Its conductance stays, the air's capacity falls: transfer units over the share of air left, e^-(NTU) to go."""
    off_coil = run(vehicle(evaporator_air_fraction=left, duct_gain=0.0))
    air = off_coil.circuit["air_temperature"] + 5.0
    warmed = run(vehicle(evaporator_air_fraction=left, duct_gain=0.08)).read["vent_center"]
    units = -np.log(1.0 - 0.08) / left
    assert (air - warmed) / (air - off_coil.read["vent_center"]) == pytest.approx(np.exp(-units))


def test_heater_door_mixes():
    """A share of the air off the heater: the vent moves that share of the way to the heater's temperature."""
    plain, mixed = run(vehicle()), run(vehicle(heater_share=0.25))
    heater = plain.circuit["heater_temperature"]
    moved = 0.25 * (heater - plain.read["vent_center"])
    assert mixed.read["vent_center"] - plain.read["vent_center"] == pytest.approx(moved)
    assert mixed.read["delivered"] < plain.read["delivered"]


def test_probe_offsets_touch_their_reading_alone():
    plain, off = run(vehicle()), run(vehicle(vent_offset=1.5, cabin_probe_offset=-0.8))
    assert off.read["vent_center"] - plain.read["vent_center"] == pytest.approx(1.5)
    assert off.read["cabin_air_in"] - plain.read["cabin_air_in"] == pytest.approx(-0.8)
    assert off.read["delivered"] == pytest.approx(plain.read["delivered"])
