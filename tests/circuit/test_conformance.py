"""Every structure passes the same class of checks: balances close, the charge is found again, signs are right.

The balances are worked out here from the state alone, by ways of their own (enthalpies round the loop, integration
along the face, integration of the void fraction), not by the equations that were solved.
"""

import math

import numpy as np
import pytest
from vehicles import COMPRESSORS, REFRIGERANTS, TRAINS, ran

from loopwright.circuit.condenser import face
from loopwright.circuit.evaporator import coil, coil_air
from loopwright.circuit.lines import friction
from loopwright.circuit.steady import CONVERGED
from loopwright.fluids import moist_air
from loopwright.fluids import refrigerants as fluid

# To 0.1 %, as the design demands; the solver closes its four equations to 1e-7, so what shows is how they are written.
CLOSES = 1e-3
WEATHER = (  # a mild dry day, a usual one, a hot humid one
    (("air_temperature", 291.15), ("relative_humidity", 0.15)),
    (),
    (("air_temperature", 316.15), ("relative_humidity", 0.60)),
)


def void_fraction(quality, liquid, vapour):
    """Zivi 1964: alpha = 1 / (1 + (1-x)/x (rho_v/rho_l)^(2/3)); from memory."""
    return 0.0 if quality <= 0.0 else 1.0 / (1.0 + (1.0 - quality) / quality * (vapour / liquid) ** (2.0 / 3.0))


def mean_density(first, last, liquid, vapour, steps=4000):
    """Mean two-phase density with the quality running evenly, by the midpoint rule.

    4000 steps: against 40000 the charge moves by less than 1e-5 of itself, even from quality zero.
    """
    x = first + (last - first) * (np.arange(steps) + 0.5) / steps
    alpha = np.array([void_fraction(v, liquid, vapour) for v in x])
    return float(np.mean(alpha * vapour + (1.0 - alpha) * liquid))


def condenser_state(v):
    """Saturation at the inlet, fall of saturation temperature along the condenser, liquid half-way, conductances."""
    c, s, r = v.circuit, v.state, v.refrigerant
    sat = fluid.saturation(r, s.condensing_temperature)
    slope = (sat.h_v - sat.h_l) / (s.condensing_temperature * (1.0 / sat.rho_v - 1.0 / sat.rho_l))  # Clapeyron, Pa/K
    fall = friction(c["condenser_loss"], s.flow, 2.0 * sat.rho_v) / slope
    share = (s.condenser_in_pressure - sat.p) / s.condenser_in_pressure
    out = fluid.saturation(r, 0.5 * (s.condensing_temperature - fall + s.condenser_out_temperature))
    return sat, fall, out, face(c, r, sat, s.flow, s.condenser_air, v.air.condenser_density, share)


class Conformance:
    """One subclass a train; compressors, refrigerants and weathers are its parameters."""

    expansion: str
    storage: str

    @pytest.fixture(params=COMPRESSORS)
    def compressor(self, request):
        return request.param

    @pytest.fixture(params=REFRIGERANTS)
    def name(self, request):
        return request.param

    @pytest.fixture
    def at(self, compressor, name):
        return lambda *changes: ran(self.expansion, self.storage, compressor, name, *changes)

    @pytest.fixture(params=WEATHER, ids=("mild", "usual", "hot"))
    def v(self, request, at):
        found = at(*request.param)
        assert found.code == CONVERGED
        return found

    # Balances

    def test_energy_closes_round_the_loop(self, v):
        """Compressor work and heat taken in equal heat given off, each from its own two enthalpies or its own term."""
        s, c = v.state, v.circuit
        evaporator = s.flow * (s.evaporator_out_enthalpy - s.liquid_enthalpy)
        suction_line = s.flow * (s.suction_enthalpy - s.evaporator_out_enthalpy)
        shell = c["shell_loss"] * s.power
        discharge_line = s.flow * (s.discharge_enthalpy - s.condenser_in_enthalpy)
        given_off = s.heating + shell + discharge_line
        assert s.cooling == pytest.approx(evaporator, rel=CLOSES)
        assert s.power + evaporator + suction_line == pytest.approx(given_off, rel=CLOSES)

    def test_line_gains_are_those_of_a_pipe_in_air(self, v):
        """Heat of each line = its conductance times the logarithmic mean difference to the air under the hood.

        Only where vapour is dry, since a wet suction line keeps its temperature. 4 %: one heat capacity for the line,
        at saturation, against real enthalpies.
        """
        s, c, under = v.state, v.circuit, v.air.underhood_temperature
        lines = [("discharge_gain", s.discharge_enthalpy, s.condenser_in_enthalpy, s.discharge_temperature,
                  s.condenser_in_temperature)]  # fmt: skip
        if s.superheat > 1.0:
            lines.append(("suction_gain", s.evaporator_out_enthalpy, s.suction_enthalpy, s.evaporator_out_temperature,
                          s.suction_temperature))  # fmt: skip
        for conductance, h_in, h_out, t_in, t_out in lines:
            if abs(t_in - under) > 5.0 and abs(t_out - t_in) > 0.2:
                mean = (t_out - t_in) / math.log((under - t_in) / (under - t_out))
                assert s.flow * (h_out - h_in) == pytest.approx(c[conductance] * mean, rel=0.15)

    def test_condenser_air_side_equals_refrigerant_side(self, v):
        """Integrate dh = G (T - T_air) / m df from inlet to outlet: the flow needs just the face that is there.

        0.1 %, and 5 % of the gas zone: one mean heat capacity there in the model, real temperatures here.
        """
        s, air = v.state, v.air.condenser_temperature
        sat, fall, liquid, plate = condenser_state(v)
        saturated_out = sat.h_l - sat.cp_l * fall
        middle = s.condensing_temperature - 0.5 * fall
        gas = rest = 0.0
        steps = 2000
        dh = (s.condenser_in_enthalpy - s.condenser_out_enthalpy) / steps
        for i in range(steps):
            h = s.condenser_in_enthalpy - (i + 0.5) * dh
            if h > sat.h_v:
                above = fluid.temperature(v.refrigerant, s.condensing_temperature, h) - air
                gas += s.flow * dh / (plate.gas * above)
            elif h > saturated_out:
                rest += s.flow * dh / (plate.two_phase * (middle - air))
            else:
                t = s.condensing_temperature - fall - (saturated_out - h) / liquid.cp_l
                rest += s.flow * dh / (plate.liquid * (t - air))
        assert gas + rest == pytest.approx(1.0 - v.circuit["subcool_share"], abs=CLOSES + 0.05 * gas)

    def test_condenser_heat_warms_the_air(self, v):
        capacity = v.state.condenser_air * v.air.condenser_density * 1006.0
        rise = v.read["condenser_air_out"] - v.air.condenser_temperature
        assert rise * capacity == pytest.approx(v.state.heating, rel=CLOSES)

    def test_evaporator_air_side_equals_refrigerant_side(self, v):
        """The fall of the air's enthalpy, moisture included, is the heat the refrigerant takes; water only leaves."""
        s, air = v.state, v.air
        sat = fluid.saturation(v.refrigerant, s.evaporator_mean_temperature)
        state = coil(
            v.circuit, v.refrigerant, sat, s.evaporator_mean_temperature, s.flow, s.liquid_enthalpy,
            air.evaporator_temperature, air.evaporator_humidity, air.pressure, air.evaporator_density,
        )  # fmt: skip
        off = coil_air(
            state, s.boiling_share, s.gas_heat, air.evaporator_temperature, air.evaporator_humidity, air.pressure
        )
        fell = moist_air.enthalpy(air.evaporator_temperature, air.evaporator_humidity) - moist_air.enthalpy(
            off.temperature, off.humidity_ratio
        )
        assert state.air * fell == pytest.approx(s.cooling, rel=CLOSES)
        assert off.condensate >= 0.0
        assert off.condensate == pytest.approx(state.air * (air.evaporator_humidity - off.humidity_ratio), abs=1e-12)
        assert off.temperature > s.evaporating_temperature

    def test_charge_is_found_again(self, v):
        """Charge = sum over zones and lines, the void fraction integrated here by numbers."""
        c, s, r = v.circuit, v.state, v.refrigerant
        high, fall, liquid, plate = condenser_state(v)
        low = fluid.saturation(r, fluid.saturation_temperature(r, s.evaporator_out_pressure))
        cold = fluid.saturation(r, s.evaporator_mean_temperature)
        main = 1.0 - c["subcool_share"]
        drive = s.condensing_temperature - 0.5 * fall - v.air.condenser_temperature
        saturated_out = high.h_l - high.cp_l * fall
        wet = s.flow * (min(s.condenser_in_enthalpy, high.h_v) - max(s.condenser_out_enthalpy, saturated_out))
        wet /= plate.two_phase * drive
        quality_out = max((s.condenser_out_enthalpy - saturated_out) / (high.h_v - high.h_l), 0.0)
        below = max(saturated_out - s.condenser_out_enthalpy, 0.0) / liquid.cp_l
        cold_end = s.condensing_temperature - fall - v.air.condenser_temperature
        cooled = s.flow * liquid.cp_l / plate.liquid * -math.log1p(-below / cold_end)
        shares = np.array([main - wet - cooled, wet, cooled]) / main
        densities = [0.85 * high.rho_v, mean_density(1.0, quality_out, high.rho_l, high.rho_v), liquid.rho_l]
        mass = c["condenser_volume"] * main * float(shares @ densities)
        quality_in = (s.liquid_enthalpy - low.h_l) / (low.h_v - low.h_l)
        boiling = mean_density(quality_in, s.evaporator_out_quality, cold.rho_l, cold.rho_v)
        mass += c["evaporator_volume"] * (s.boiling_share * boiling + (1.0 - s.boiling_share) * low.rho_v)
        x = max((s.liquid_enthalpy - saturated_out) / (high.h_v - high.h_l), 0.0)
        line = 1.0 / (x / high.rho_v + (1.0 - x) / fluid.saturation(r, s.liquid_temperature).rho_l)
        mass += (c["subcool_share"] * c["condenser_volume"] + c["liquid_volume"]) * line
        mass += c["discharge_volume"] * 0.85 * high.rho_v
        mass += c["suction_volume"] * fluid.density(r, s.evaporating_temperature, s.suction_enthalpy)
        stored, gas = (
            fluid.saturation(r, s.condenser_out_temperature),
            high,
        )  # a receiver holds what the condenser sends
        if c["accumulator"] > 0.5:
            stored = gas = low
        mass += c["storage_volume"] * (s.level * stored.rho_l + (1.0 - s.level) * gas.rho_v)
        assert mass == pytest.approx(c["charge"], rel=CLOSES)

    # Order round the loop

    def test_pressures_fall_along_the_flow(self, v):
        s = v.state
        assert (
            s.discharge_pressure > s.condenser_in_pressure > s.condenser_out_pressure > s.expansion_in_pressure
        )  # fmt: skip
        assert s.expansion_in_pressure > s.evaporator_in_pressure > s.evaporator_out_pressure > s.suction_pressure

    def test_hot_above_the_air_and_cold_below(self, v):
        s = v.state
        assert s.discharge_temperature > s.condensing_temperature > s.liquid_temperature > v.air.condenser_temperature
        assert s.evaporating_temperature < v.air.evaporator_temperature
        assert s.evaporating_temperature <= s.suction_temperature < v.air.underhood_temperature

    def test_second_law(self, v):
        """Heat is lifted for no less than Carnot asks between the two saturation temperatures."""
        s = v.state
        carnot = s.cooling * (s.condensing_temperature / s.evaporating_temperature - 1.0)
        assert s.power > carnot

    # Signs

    @pytest.mark.parametrize(
        ("field", "change", "moves", "sign"),
        [
            ("air_temperature", 6.0, "high_side", 1),
            ("air_temperature", 6.0, "standing_low", 1),
            ("air_temperature", 6.0, "vent_center", 1),
            ("relative_humidity", 0.25, "cooling", 1),
            ("relative_humidity", 0.25, "vent_center", 1),
            ("relative_humidity", 0.25, "high_side", 1),
            ("condenser_air", -0.15, "high_side", 1),
            ("condenser_air", -0.15, "cooling", -1),
            ("condenser_conductance", -300.0, "high_side", 1),
            ("evaporator_air", -0.04, "vent_center", -1),
            ("evaporator_air", -0.04, "cooling", -1),
            ("speed", 10.0, "low_side", -1),
            ("speed", 10.0, "high_side", 1),
            ("speed", 10.0, "cooling", 1),
            ("work_scale", -0.2, "compressor_discharge", 1),
            ("duct_gain", 0.1, "vent_center", 1),
            ("heater_share", 0.2, "vent_center", 1),
            ("pipe_contact", 0.05, "compressor_suction", 1),
            ("oil_fraction", 0.1, "cooling", -1),
            ("oil_fraction", 0.1, "compressor_discharge", -1),
            ("soak_offset", 3.0, "standing_high", 1),
            ("contamination", 0.1, "low_side", 1),
            ("low_gauge_offset", 2e4, "low_side", 1),
            ("high_gauge_offset", -2e4, "high_side", -1),
        ],
    )
    def test_sign(self, at, field, change, moves, sign):
        """A hot, humid day, so that every compressor is at full capacity and nothing is masked by its controls."""
        day = (("air_temperature", 311.15), ("relative_humidity", 0.45))
        base = at(*day)
        moved = at(*day, (field, float(base.circuit[field]) + change))
        assert sign * (moved.read[moves] - base.read[moves]) > 0.0

    def test_thinner_air_raises_the_high_side(self, at):
        """At 2000 m less mass of air passes the condenser at the same volume. The evaporator's air is held, or its own
        loss of load would come first."""
        high = at(("air_pressure", 79500.0), ("evaporator_air", 0.13 * 101325.0 / 79500.0))
        assert high.read["high_side"] > at(("evaporator_air", 0.13)).read["high_side"]

    def test_little_refrigerant(self, at):
        """At four tenths of the charge: less cooling, warmer vent, no liquid subcooled, hotter gas, storage empty."""
        full, short = at(), at(("charge", 0.4 * float(at().circuit["charge"])))
        assert short.read["cooling"] < 0.95 * full.read["cooling"]
        assert short.read["vent_center"] > full.read["vent_center"] + 1.0
        assert short.read["subcooling"] < full.read["subcooling"]
        assert short.read["superheat"] > full.read["superheat"] + 1.0
        assert short.read["high_side"] < full.read["high_side"]
        assert short.state.level < 0.01

    def test_storage_hides_the_charge(self, at):
        """While the storage is neither dry nor full, the gauges hardly move with the charge: under 1 % and 2 %.

        2 %: an accumulator's rising level sends a little more liquid to the compressor with the oil.
        """
        label = float(at().circuit["charge"])
        less, more = at(("charge", 0.92 * label)), at(("charge", 1.08 * label))
        assert 0.05 < less.state.level < more.state.level < 0.95
        assert more.read["low_side"] == pytest.approx(less.read["low_side"], rel=0.01)
        assert more.read["high_side"] == pytest.approx(less.read["high_side"], rel=0.02)

    def test_foreign_gas_raises_the_high_side_and_the_standing_pressure(self, at):
        clean, gassed = at(), at(("foreign_gas", 0.003))
        assert gassed.read["high_side"] > clean.read["high_side"] + 20e3
        assert gassed.read["standing_low"] > clean.read["standing_low"] + 20e3
        assert gassed.read["cooling"] < clean.read["cooling"]


class TestThermostaticReceiver(Conformance):
    expansion, storage = TRAINS[0]

    def test_valve_holds_superheat(self, v):
        """Between the static superheat and that of full opening; bleed and limits of the valve do not show here."""
        c, s = v.circuit, v.state
        assert c["valve_superheat"] < s.superheat < c["valve_superheat"] + c["valve_gradient"]

    def test_too_much_refrigerant(self, at):
        """A receiver that is full backs liquid up into the condenser: high side and subcooling rise.

        At 1.6 times the charge; at 1.5 times, with the light liquid of R-152a, the high side is up by 4.9 %.
        """
        full, over = at(), at(("charge", 1.6 * float(at().circuit["charge"])))
        assert over.state.level == 1.0
        assert over.read["high_side"] > 1.05 * full.read["high_side"]
        assert over.read["subcooling"] > full.read["subcooling"] + 5.0


class TestOrificeAccumulator(Conformance):
    expansion, storage = TRAINS[1]

    def test_evaporator_is_flooded(self, v):
        """At label charge no superheat at the outlet, the accumulator partly full."""
        assert 0.0 < v.state.level < 1.0
        assert v.state.superheat <= 0.0
        assert 0.94 < v.state.evaporator_out_quality < 1.0

    def test_too_much_refrigerant(self, at):
        """A full accumulator passes liquid on to the compressor: wetter suction, cooler discharge."""
        full, over = at(), at(("charge", 2.2 * float(at().circuit["charge"])))
        assert over.state.level == 1.0
        assert over.state.evaporator_out_quality < full.state.evaporator_out_quality - 0.02
        assert over.read["compressor_discharge"] < full.read["compressor_discharge"] - 3.0
