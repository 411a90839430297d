"""From the solved loop to what can be read on the vehicle: gauges, pipe surfaces, air, feel, and the hidden states."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit

from loopwright.circuit.compressor import usual_flow
from loopwright.circuit.evaporator import coil as coil_state
from loopwright.circuit.evaporator import coil_air
from loopwright.circuit.loop import Air, entering_air, loop
from loopwright.circuit.standing import equalising_time, standing_pressure
from loopwright.fluids.moist_air import enthalpy
from loopwright.fluids.refrigerants import saturation, saturation_pressure, saturation_temperature

__all__ = ["OUTPUTS", "PLACE", "read_idle", "read_running", "ripple"]

OUTPUTS: tuple[str, ...] = (
    # gauges and air while running: mean, minimum, maximum of the cycle
    "low_side", "low_side_minimum", "low_side_maximum",
    "high_side", "high_side_minimum", "high_side_maximum",
    "vent_center", "vent_center_minimum", "vent_center_maximum",
    # pipe surfaces
    "compressor_suction", "compressor_discharge", "condenser_inlet", "condenser_outlet",
    "drier_outlet", "expansion_inlet", "evaporator_inlet", "evaporator_outlet",
    # air
    "ambient_air", "condenser_air_in", "condenser_air_out", "cabin_air_in",
    "vent_humidity", "vent_air_fraction", "vent_air_at_step", "condenser_air_fraction", "duty", "speed",
    # standing and after a stop
    "standing_low", "standing_high", "after_stop_common", "after_stop_time",
    # hidden states
    "evaporating_temperature", "condensing_temperature", "superheat", "subcooling", "cooling", "delivered",
    "charge", "power", "flow", "bubbles", "cold_spot", "oil",
    # corners of the cycle: pressure and enthalpy
    "p_suction", "h_suction", "p_discharge", "h_discharge", "p_condenser_in", "h_condenser_in", "p_condenser_out",
    "h_liquid", "p_expansion_in", "p_evaporator_in", "p_evaporator_out", "h_evaporator_out",
)  # fmt: skip
"""What `read_running` and `read_idle` fill in, in this order: SI, absolute pressures."""

PLACE: dict[str, int] = {name: i for i, name in enumerate(OUTPUTS)}

(
    LOW, LOW_MIN, LOW_MAX, HIGH, HIGH_MIN, HIGH_MAX, VENT, VENT_MIN, VENT_MAX,
    COMPRESSOR_SUCTION, COMPRESSOR_DISCHARGE, CONDENSER_INLET, CONDENSER_OUTLET,
    DRIER_OUTLET, EXPANSION_INLET, EVAPORATOR_INLET, EVAPORATOR_OUTLET,
    AMBIENT, CONDENSER_AIR_IN, CONDENSER_AIR_OUT, CABIN_AIR_IN,
    VENT_HUMIDITY, VENT_AIR, VENT_AIR_AT_STEP, CONDENSER_AIR, DUTY, SPEED,
    STANDING_LOW, STANDING_HIGH, AFTER_COMMON, AFTER_TIME,
    T_EVAPORATING, T_CONDENSING, SUPERHEAT, SUBCOOLING, COOLING, DELIVERED,
    CHARGE, POWER, FLOW, BUBBLES, COLD_SPOT, OIL,
    P_SUCTION, H_SUCTION, P_DISCHARGE, H_DISCHARGE, P_CONDENSER_IN, H_CONDENSER_IN, P_CONDENSER_OUT,
    H_LIQUID, P_EXPANSION_IN, P_EVAPORATOR_IN, P_EVAPORATOR_OUT, H_EVAPORATOR_OUT,
) = range(len(OUTPUTS))  # fmt: skip

CONDENSER_TIME = 25.0  # thermal time constant of a condenser [s], order of size
PROBE_SHARE = 0.4  # of the hot air drawn back to the condenser, what a probe ahead of the grille feels; a judgement
IDLE_AT_COMPRESSOR, IDLE_IN_LINE = 0.6, 0.2  # of the engine bay's warmth, what pipes without flow take up; judgements
ON_BELOW_MEAN = 0.1  # of the swing, how far the low side lies under its mean while the clutch is in; a judgement
LEAST_VENT_AIR = 0.05  # share of the healthy flow under which a duct warms the air no further; a judgement
FILM_COUNTS = 0.4  # share of the usual flow under which the film inside a pipe is what counts; a judgement


@njit(cache=True)
def _exposed(c: Any, flow: float) -> float:
    """Share of the way to the air around [-] that a pipe's surface reads off its refrigerant, at a `flow` [kg/s].

    What is between refrigerant and thermometer and what is between it and the air share the difference: s = k/(1 + k).
    Of the inner part the film goes with flow^-0.8 (Dittus and Boelter; Incropera ch. 8) and takes over where hardly
    anything flows: a pipe without flow takes on the warmth around it. The circuit's share holds at usual flows.
    """
    usual = usual_flow(c)
    thin = max(FILM_COUNTS * usual / max(flow, 1e-3 * usual), 1.0)
    k = c.pipe_contact / (1.0 - c.pipe_contact) * thin**0.8
    return k / (1.0 + k)


@njit(cache=True)
def _offsets(c: Any, out: np.ndarray) -> None:
    """Add what the pipe thermometer, and each group of pipes, reads off by."""
    for i in (EVAPORATOR_INLET, EVAPORATOR_OUTLET, COMPRESSOR_SUCTION):
        out[i] += c.probe_offset + c.cold_pipe_offset
    for i in (CONDENSER_OUTLET, DRIER_OUTLET, EXPANSION_INLET):
        out[i] += c.probe_offset + c.liquid_pipe_offset
    for i in (CONDENSER_INLET, COMPRESSOR_DISCHARGE):
        out[i] += c.probe_offset + c.hot_pipe_offset


@njit(cache=True)
def _contaminated(c: Any, pressure: float) -> float:
    """Pressure [Pa] with another refrigerant mixed in, taken as the same relative shift at every temperature."""
    return pressure * (1.0 + c.contamination)


@njit(cache=True)
def _standing(c: Any, r: Any, out: np.ndarray) -> None:
    soaked = _contaminated(c, standing_pressure(c, r, c.air_temperature + c.soak_offset))
    out[STANDING_LOW] = soaked + c.low_gauge_offset
    out[STANDING_HIGH] = soaked + c.high_gauge_offset


@njit(cache=True)
def _air_points(c: Any, air: Air, out: np.ndarray) -> None:
    out[AMBIENT] = c.air_temperature
    out[CONDENSER_AIR_IN] = c.air_temperature + PROBE_SHARE * c.condenser_air_offset
    out[CABIN_AIR_IN] = air.evaporator_temperature + c.cabin_probe_offset
    _vent_air(c, c.evaporator_air_fraction * c.evaporator_air, out)
    out[CONDENSER_AIR] = c.condenser_air_fraction * c.condenser_air / c.condenser_air_reference
    out[SPEED] = c.speed


@njit(cache=True)
def _vent_air(c: Any, flow: float, out: np.ndarray) -> None:
    """Air `flow` [m3/s] at the vents over that of full blower, and over what the blower's step should give: a hand
    judges against the step."""
    out[VENT_AIR] = flow / c.evaporator_air_reference
    out[VENT_AIR_AT_STEP] = out[VENT_AIR] / c.blower_step


@njit(cache=True)
def _vent(c: Any, coil_temperature: float) -> float:
    """Centre-vent air [K]: off the coil, warmed in the duct, mixed with air off the heater where the door leaks.

    A duct's conductance hardly depends on the flow, so where air is lost its transfer units go with one over what is
    left of it.
    """
    warmed = 1.0 - (1.0 - c.duct_gain) ** (1.0 / max(c.evaporator_air_fraction, LEAST_VENT_AIR))
    duct = coil_temperature + warmed * (c.air_temperature + 5.0 - coil_temperature)
    return duct + c.heater_share * (c.heater_temperature - duct) + c.vent_offset


@njit(cache=True)
def read_idle(c: Any, r: Any, out: np.ndarray) -> None:
    """Fill `out` for a compressor that does not turn: the loop stands at one pressure, parts near the air's
    temperature.

    Parameters: circuit record, refrigerant tables, `out` (number of `OUTPUTS`).
    """
    air = entering_air(c)
    out[:] = 0.0
    _standing(c, r, out)
    _air_points(c, air, out)
    rest = air.condenser_temperature + 0.15 * c.underhood_offset
    pressure = _contaminated(c, standing_pressure(c, r, rest))
    for i in (LOW, LOW_MIN, LOW_MAX):
        out[i] = pressure + c.low_gauge_offset
    for i in (HIGH, HIGH_MIN, HIGH_MAX):
        out[i] = pressure + c.high_gauge_offset
    vent = _vent(c, air.evaporator_temperature + 1.0)
    for i in (VENT, VENT_MIN, VENT_MAX):
        out[i] = vent
    bay = air.underhood_temperature - air.condenser_temperature
    for i in (COMPRESSOR_SUCTION, COMPRESSOR_DISCHARGE):
        out[i] = air.condenser_temperature + IDLE_AT_COMPRESSOR * bay
    out[CONDENSER_INLET] = out[CONDENSER_OUTLET] = air.condenser_temperature
    for i in (DRIER_OUTLET, EXPANSION_INLET):
        out[i] = air.condenser_temperature + IDLE_IN_LINE * bay
    out[EVAPORATOR_INLET] = out[EVAPORATOR_OUTLET] = air.evaporator_temperature
    _offsets(c, out)
    out[CONDENSER_AIR_OUT] = air.condenser_temperature
    out[VENT_HUMIDITY] = air.evaporator_humidity
    out[AFTER_COMMON] = pressure
    out[AFTER_TIME] = 1.0
    out[T_EVAPORATING] = rest
    out[T_CONDENSING] = rest
    out[CHARGE] = c.charge
    out[OIL] = c.oil_fraction
    sat = saturation(r, rest)
    for i in (
        P_SUCTION,
        P_DISCHARGE,
        P_CONDENSER_IN,
        P_CONDENSER_OUT,
        P_EXPANSION_IN,
        P_EVAPORATOR_IN,
        P_EVAPORATOR_OUT,
    ):
        out[i] = sat.p
    for i in (H_SUCTION, H_DISCHARGE, H_CONDENSER_IN, H_EVAPORATOR_OUT):
        out[i] = sat.h_v
    out[H_LIQUID] = sat.h_l


@njit(cache=True)
def read_running(c: Any, r: Any, x: np.ndarray, out: np.ndarray) -> None:
    """Fill `out` from the solved unknowns `x` (4) of a running loop.

    Parameters: circuit record, refrigerant tables, unknowns, `out` (number of `OUTPUTS`).

    Clutch cycling: at duty d < 1 the low side swings between cut-out and cut-in; the high side and the vent follow as a
    first-order system driven by the square wave of the clutch, whose mean is the solved state. What leaves the
    compressor flows only while the clutch is in, over the wider lift of that time.
    """
    air = entering_air(c)
    s = loop(c, r, air, x[0], x[1], x[2], x[3])
    out[:] = 0.0
    _standing(c, r, out)
    _air_points(c, air, out)
    at_compressor = s.suction_pressure
    low = s.evaporator_out_pressure if c.suction_port_upstream > 0.5 else at_compressor
    behind = c.restriction_at_outlet > 0.5 or c.high_port_behind > 0.5
    liquid_port = s.expansion_in_pressure if behind else s.condenser_out_pressure
    high = s.discharge_pressure + c.high_port_liquid * (liquid_port - s.discharge_pressure)
    duty = s.share if c.compressor < 0.5 else 1.0
    cycling = min((1.0 - duty) / 0.1, 1.0)  # the swing grows over the first tenth of off-time
    t_low = saturation_temperature(r, low)
    low_min = saturation_pressure(r, t_low - 0.4 * c.cycle_swing) if cycling > 0.0 else low
    low_max = saturation_pressure(r, t_low + 0.6 * c.cycle_swing) if cycling > 0.0 else low
    out[LOW] = _contaminated(c, low) + c.low_gauge_offset
    out[LOW_MIN] = _contaminated(c, low + cycling * (low_min - low)) + c.low_gauge_offset
    out[LOW_MAX] = _contaminated(c, low + cycling * (low_max - low)) + c.low_gauge_offset
    lift = s.condensing_temperature - air.condenser_temperature
    on_peak, off_peak, while_on = ripple(duty, c.cycle_time)
    high_max = saturation_pressure(r, s.condensing_temperature + lift * on_peak) / saturation_pressure(
        r, s.condensing_temperature
    )
    high_min = saturation_pressure(r, s.condensing_temperature - lift * off_peak) / saturation_pressure(
        r, s.condensing_temperature
    )
    apart = max(s.condensing_temperature - t_low, 1.0)  # a starved loop may lift nearly nothing
    wider = (lift * (while_on - 1.0) + ON_BELOW_MEAN * c.cycle_swing) / apart
    out[HIGH] = _contaminated(c, high) + c.high_gauge_offset
    out[HIGH_MIN] = _contaminated(c, high * high_min) + c.high_gauge_offset
    out[HIGH_MAX] = _contaminated(c, high * high_max) + c.high_gauge_offset

    sat = saturation(r, s.evaporator_mean_temperature)
    coil = coil_state(
        c, r, sat, s.evaporator_mean_temperature, s.flow, s.liquid_enthalpy,
        air.evaporator_temperature, air.evaporator_humidity, air.pressure, air.evaporator_density,
    )  # fmt: skip
    leaving = coil_air(
        coil, s.boiling_share, s.gas_heat, air.evaporator_temperature, air.evaporator_humidity, air.pressure
    )
    vent = _vent(c, leaving.temperature)
    pull = 0.5 * (air.evaporator_temperature - leaving.temperature)  # the coil's metal and water smooth the air
    out[VENT] = vent
    out[VENT_MIN] = vent - pull * off_peak * 0.5
    out[VENT_MAX] = vent + pull * on_peak * 0.5

    # one pipe after the other, each part of the way from its refrigerant to the air around it
    hood, front, off = air.underhood_temperature, air.condenser_temperature, _exposed(c, s.flow)
    before = s.expansion_in_temperature if c.restriction_at_outlet > 0.5 else s.liquid_temperature
    out[COMPRESSOR_SUCTION] = s.suction_temperature + off * (hood - s.suction_temperature)
    hotter = cycling * (s.discharge_temperature - s.suction_temperature) * wider
    discharge, condenser_in = s.discharge_temperature + hotter, s.condenser_in_temperature + hotter
    out[COMPRESSOR_DISCHARGE] = discharge + off * (hood - discharge)
    out[CONDENSER_INLET] = condenser_in + off * (front - condenser_in)
    out[CONDENSER_OUTLET] = s.liquid_temperature + off * (front - s.liquid_temperature)
    out[DRIER_OUTLET] = before + off * (hood - before)
    out[EXPANSION_INLET] = s.expansion_in_temperature + off * (hood - s.expansion_in_temperature)
    out[EVAPORATOR_INLET] = s.evaporator_in_temperature + off * (hood - s.evaporator_in_temperature)
    out[EVAPORATOR_OUTLET] = s.evaporator_out_temperature + off * (hood - s.evaporator_out_temperature)
    _offsets(c, out)
    condenser_capacity = s.condenser_air * air.condenser_density * 1006.0
    _vent_air(c, coil.air / air.evaporator_density, out)  # ice on the coil holds air back too
    out[CONDENSER_AIR] = s.condenser_air / c.condenser_air_reference
    out[CONDENSER_AIR_OUT] = air.condenser_temperature + s.heating / max(condenser_capacity, 1.0)
    out[VENT_HUMIDITY] = leaving.humidity_ratio
    out[DUTY] = duty

    out[AFTER_COMMON] = _contaminated(
        c,
        saturation_pressure(r, 0.35 * s.condensing_temperature + 0.65 * max(t_low, air.evaporator_temperature - 12.0)),
    )
    flow_on = s.flow / max(duty, 0.1)  # a clutch was in before the stop
    out[AFTER_TIME] = equalising_time(c, r, flow_on, s.condensing_temperature, s.evaporating_temperature)
    out[T_EVAPORATING] = s.evaporating_temperature
    out[T_CONDENSING] = s.condensing_temperature
    out[SUPERHEAT] = s.superheat
    t_sat_out = saturation_temperature(
        r, s.condenser_out_pressure
    )  # a restriction behind the condenser is not to hide it
    out[SUBCOOLING] = max(t_sat_out - s.liquid_temperature, 0.0)
    out[COOLING] = s.cooling
    vent_enthalpy = enthalpy(vent - c.vent_offset, leaving.humidity_ratio)
    out[DELIVERED] = coil.air * (enthalpy(air.evaporator_temperature, air.evaporator_humidity) - vent_enthalpy)
    out[CHARGE] = c.charge
    out[OIL] = c.oil_fraction
    out[POWER] = s.power
    out[FLOW] = s.flow
    out[BUBBLES] = s.expansion_in_quality
    out[COLD_SPOT] = s.liquid_temperature - s.expansion_in_temperature
    out[P_SUCTION], out[H_SUCTION] = s.suction_pressure, s.suction_enthalpy
    out[P_DISCHARGE], out[H_DISCHARGE] = s.discharge_pressure, s.discharge_enthalpy
    out[P_CONDENSER_IN], out[H_CONDENSER_IN] = s.condenser_in_pressure, s.condenser_in_enthalpy
    out[P_CONDENSER_OUT], out[H_LIQUID] = s.condenser_out_pressure, s.liquid_enthalpy
    out[P_EXPANSION_IN] = s.expansion_in_pressure
    out[P_EVAPORATOR_IN], out[P_EVAPORATOR_OUT] = s.evaporator_in_pressure, s.evaporator_out_pressure
    out[H_EVAPORATOR_OUT] = s.evaporator_out_enthalpy


@njit(cache=True)
def ripple(duty: float, cycle_time: float) -> tuple[float, float, float]:
    """How far a first-order system driven by an on-off wave swings over and under its mean, and its mean while on.

    Parameters: `duty` d [-], share of time on (under 0.1 taken as 0.1, over 0.999 as always on); `cycle_time` [s].
    Returns over, under and mean while on [-], all in means.

    On-phase steady value 1/d times the mean; with r the cycle's time over `CONDENSER_TIME`
    peak = (1/d)(1 - e^(-d r))/(1 - e^-r), trough = peak e^(-(1-d) r), mean while on = 1/d - (peak - trough)/(d r):
    the periodic solution of tau dy/dt = wave - y.

    >>> [round(v, 3) for v in ripple(0.5, 25.0)]
    [0.245, 0.245, 1.02]
    """
    d = min(max(duty, 0.1), 1.0)
    if d > 0.999:
        return 0.0, 0.0, 1.0
    r = cycle_time / CONDENSER_TIME
    peak = (1.0 / d) * -math.expm1(-d * r) / -math.expm1(-r)
    trough = peak * math.exp(-(1.0 - d) * r)
    return peak - 1.0, 1.0 - trough, 1.0 / d - (peak - trough) / (d * r)
