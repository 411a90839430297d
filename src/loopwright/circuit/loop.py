"""The loop's equations: four unknowns in, four balances and the state of every corner out.

The unknowns are the evaporating temperature at the suction port, the condensing temperature at the condenser inlet, and
one coordinate for each heat exchanger's outlet. An outlet coordinate runs through all that can happen there without a
fork: for the evaporator, from wet (how much liquid is left) to dry (transfer units of the superheating zone); with an
accumulator the stretch from 0 to 1 is the accumulator's level, while the outlet stays saturated. For the condenser,
from two-phase (quality left) to liquid (transfer units of the subcooling zone), and with a receiver 0 to 1
is its level. That is the normal map of the complementarity "saturated, or empty, or full", so no case needs a solver of
its own.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from numba import njit

from loopwright.circuit.compressor import displaced, usual_flow, work
from loopwright.circuit.condenser import face, fan_share, positive, zones
from loopwright.circuit.evaporator import coil
from loopwright.circuit.expansion import orifice_tube_flow, thermostatic_valve_flow, valve_opening
from loopwright.circuit.inventory import two_phase_density
from loopwright.circuit.lines import LIQUID_RESTRICTION, SUCTION_RESTRICTION, approach, friction, restriction_loss
from loopwright.circuit.oil import excess, held_liquid, rise_at
from loopwright.fluids.moist_air import density as air_density
from loopwright.fluids.moist_air import humidity_ratio
from loopwright.fluids.refrigerants import (
    liquid_temperature,
    saturation,
    saturation_temperature,
    temperature,
    vapour,
    vapour_enthalpy,
)

__all__ = ["Air", "Loop", "Outlet", "condenser_outlet", "entering_air", "evaporator_outlet", "loop"]

AIR_GAS_CONSTANT = 287.05  # dry air, J/(kg K)
RECEIVER_QUALITY = 0.004  # vapour share of what enters a receiver behind a restriction over which it runs empty


class Air(NamedTuple):
    """Air at the two heat exchangers and under the hood: temperatures [K], humidity ratio, densities [kg/m3],
    pressure."""

    condenser_temperature: float
    condenser_density: float
    evaporator_temperature: float
    evaporator_humidity: float
    evaporator_density: float
    underhood_temperature: float
    pressure: float


class Outlet(NamedTuple):
    """What an outlet coordinate means: transfer units of the one-phase zone, the other phase's share, storage level."""

    units: float
    other: float
    level: float


class Loop(NamedTuple):
    """The state at four values of the unknowns: balances (zero at the solution), then pressures, temperatures,
    flows."""

    flow_balance: float
    evaporator_balance: float
    condenser_balance: float
    charge_balance: float
    flow: float
    share: float
    suction_pressure: float
    evaporator_out_pressure: float
    evaporator_in_pressure: float
    expansion_in_pressure: float
    condenser_out_pressure: float
    condenser_in_pressure: float
    discharge_pressure: float
    evaporating_temperature: float
    condensing_temperature: float
    suction_temperature: float
    evaporator_out_temperature: float
    evaporator_in_temperature: float
    expansion_in_temperature: float
    liquid_temperature: float
    condenser_out_temperature: float
    condenser_in_temperature: float
    discharge_temperature: float
    suction_enthalpy: float
    evaporator_out_enthalpy: float
    liquid_enthalpy: float
    condenser_out_enthalpy: float
    condenser_in_enthalpy: float
    discharge_enthalpy: float
    superheat: float
    subcooling: float
    expansion_in_quality: float
    evaporator_out_quality: float
    boiling_share: float
    gas_heat: float
    cooling: float
    heating: float
    power: float
    mass: float
    level: float
    vapour_volume: float
    evaporator_mean_temperature: float
    condenser_air: float


@njit(cache=True)
def entering_air(c: Any) -> Air:
    """Air states from weather, altitude and the test's offsets; depends on the circuit record alone."""
    w = humidity_ratio(c.air_temperature, c.relative_humidity, c.air_pressure)
    condenser = c.air_temperature + c.condenser_air_offset
    # recirculated air is not cooled below 15 °C, nor below ambient air on a colder day
    cabin = max(c.air_temperature + c.cabin_offset, min(c.air_temperature, 288.15))
    w_cabin = min(w * c.cabin_moisture, humidity_ratio(cabin, 0.99, c.air_pressure))
    return Air(
        condenser,
        air_density(condenser, c.air_pressure, w),
        cabin,
        w_cabin,
        air_density(cabin, c.air_pressure, w_cabin),
        c.air_temperature + c.underhood_offset,
        c.air_pressure,
    )


@njit(cache=True)
def _stretched(x: float) -> float:
    """Transfer units from a coordinate: the same up to 1, then growing as an exponential, for starved exchangers."""
    return x if x <= 1.0 else 1.0 + 0.5 * math.expm1(2.0 * (x - 1.0))


@njit(cache=True)
def evaporator_outlet(accumulator: float, coordinate: float) -> Outlet:
    """Transfer units of superheating, liquid share, accumulator level from the coordinate.

    Without an accumulator a positive coordinate is the transfer units of the superheating zone, a negative one the
    liquid left. With one, a negative coordinate is dry (units -a), 0 to 1 the level with the few per cent of liquid
    that the oil bleed carries, above 1 a full accumulator passing liquid on.

    >>> evaporator_outlet(0.0, 0.5)
    Outlet(units=0.5, other=0.0, level=0.0)
    >>> evaporator_outlet(1.0, 0.5)
    Outlet(units=0.0, other=0.02, level=0.5)
    """
    if accumulator > 0.5:
        level = min(max(coordinate, 0.0), 1.0)
        return Outlet(_stretched(max(-coordinate, 0.0)), 0.04 * level + max(coordinate - 1.0, 0.0), level)
    return Outlet(_stretched(max(coordinate, 0.0)), max(-coordinate, 0.0), 0.0)


@njit(cache=True)
def condenser_outlet(accumulator: float, coordinate: float) -> Outlet:
    """Transfer units of subcooling, vapour share, receiver level from the coordinate.

    A negative coordinate is the vapour left. Without a receiver a positive one is the transfer units of the subcooling
    zone; with one, 0 to 1 is the receiver's level (with the little subcooling, 0.04 units, that a level stands for) and
    above 1 it is full and liquid backs up into the condenser.

    >>> condenser_outlet(0.0, 0.5)
    Outlet(units=0.02, other=0.0, level=0.5)
    >>> condenser_outlet(1.0, 0.5)
    Outlet(units=0.5, other=0.0, level=0.0)
    """
    if accumulator > 0.5:
        return Outlet(_stretched(max(coordinate, 0.0)), max(-coordinate, 0.0), 0.0)
    level = min(max(coordinate, 0.0), 1.0)
    return Outlet(0.04 * level + _stretched(max(coordinate - 1.0, 0.0)), max(-coordinate, 0.0), level)


@njit(cache=True)
def loop(c: Any, r: Any, air: Air, te: float, tc: float, a: float, b: float) -> Loop:
    """Every balance and every corner of the loop at given unknowns.

    Parameters: circuit record, refrigerant tables, entering air; evaporating temperature at the suction port [K],
    condensing temperature at the condenser inlet [K], evaporator and condenser outlet coordinates [-].

    Balances, each zero at the solution: compressor flow less expansion flow over a nominal flow; refrigerant heat less
    air heat of the evaporator over a nominal heat; shares of the condenser's face less the face; refrigerant in the
    loop less the charge over the label charge.
    """
    # ---- suction: foreign gas gathers where liquid leaves it behind (the condenser and half the storage); line loss
    # and heat from the flow at the evaporator's outlet state
    out = evaporator_outlet(c.accumulator, a)
    sat = saturation(r, te)
    high = saturation(r, tc)
    gas_pressure = (
        c.foreign_gas * AIR_GAS_CONSTANT * tc / (c.discharge_volume + c.condenser_volume + 0.5 * c.storage_volume)
    )
    condenser_in_pressure = high.p + gas_pressure
    intake = displaced(c, te, sat.p, condenser_in_pressure)
    oil = excess(c)
    rate = intake.rate * (1.0 - oil)  # oil takes the place of refrigerant
    dryness = -math.expm1(-out.units)
    rise_near = positive(air.evaporator_temperature - te) * dryness
    wet_near = out.other + held_liquid(oil, rise_near)
    h_near = sat.h_v + sat.cp_v * rise_near - wet_near * (sat.h_v - sat.h_l)
    rho_near = _density(r, sat, te, h_near)
    flow_near = rate * rho_near
    suction_loss = c.suction_loss + restriction_loss(SUCTION_RESTRICTION, c.suction_area)
    p_eo = sat.p + friction(suction_loss, flow_near, rho_near)
    t_eo_sat = saturation_temperature(r, p_eo)
    sat_eo = saturation(r, t_eo_sat)
    t_eo = t_eo_sat + positive(air.evaporator_temperature - t_eo_sat) * dryness
    h_dry = vapour_enthalpy(r, t_eo_sat, t_eo) if out.units > 0.0 else sat_eo.h_v
    h_eo = h_dry - (out.other + held_liquid(oil, t_eo - t_eo_sat)) * (sat_eo.h_v - sat_eo.h_l)
    to_suction = approach(c.suction_gain, flow_near, sat.cp_v)
    h_suc = h_eo + sat.cp_v * (air.underhood_temperature - t_eo) * to_suction
    if h_suc >= sat.h_v:
        suction = vapour(r, te, h_suc)
        t_suc, rho_suc, s_suc = suction.t, suction.rho, suction.s
    else:
        t_suc, rho_suc = te, _density(r, sat, te, h_suc)
        s_suc = sat.s_v - (sat.h_v - h_suc) / te
    if oil > 0.0:
        t_suc = te + rise_at(oil, h_suc - sat.h_v, sat.h_v - sat.h_l, sat.cp_v)
    flow = rate * rho_suc

    # ---- discharge
    p_dis = condenser_in_pressure + friction(c.discharge_loss, flow, high.rho_v)
    t_dis_sat = saturation_temperature(r, p_dis)
    specific_work = work(c, r, h_suc, s_suc, t_dis_sat, p_dis / sat.p)
    h_dis = h_suc + (1.0 - c.shell_loss) * specific_work
    t_dis = temperature(r, t_dis_sat, h_dis)
    to_condenser = approach(c.discharge_gain, flow, high.cp_v)
    t_ci = t_dis + (air.underhood_temperature - t_dis) * to_condenser
    h_ci = h_dis + high.cp_v * (t_ci - t_dis)

    # ---- condenser
    latent_c = high.h_v - high.h_l
    slope_c = latent_c / (tc * (1.0 / high.rho_v - 1.0 / high.rho_l))
    dp_c = friction(c.condenser_loss, flow, 2.0 * high.rho_v)
    dt_c = min(dp_c / slope_c, 15.0)
    receiver_behind = c.accumulator < 0.5 and c.restriction_at_outlet > 0.5  # of the restriction
    cout = condenser_outlet(1.0 if receiver_behind else c.accumulator, b)
    drive = positive(tc - 0.5 * dt_c - air.condenser_temperature)
    t_co_sat = tc - dt_c
    drive_out = positive(t_co_sat - air.condenser_temperature)
    left = math.exp(-cout.units)
    t_co = t_co_sat - drive_out * (1.0 - left)
    h_l_co = high.h_l - high.cp_l * dt_c
    # towards the critical point heat capacity and density of the liquid change steeply, so both are taken halfway
    liquid = saturation(r, 0.5 * (t_co_sat + t_co)) if cout.units > 0.0 else high
    h_co = h_l_co + cout.other * latent_c - liquid.cp_l * (t_co_sat - t_co)
    fan = c.condenser_air * c.condenser_air_fraction * fan_share(c.fan_least, c.fan_pressure, condenser_in_pressure)
    plate = face(c, r, high, flow, fan, air.condenser_density, min(gas_pressure / condenser_in_pressure, 0.9))
    zone = zones(c, high, plate, tc, flow, h_ci, t_ci, h_co, h_l_co, liquid.cp_l, liquid.rho_l, cout.units, drive)
    condenser_balance = zone.gas + zone.two_phase + zone.liquid - (1.0 - c.subcool_share)
    p_co = condenser_in_pressure - dp_c

    # ---- subcooling pass behind the receiver, liquid line
    h_lo = h_co
    if c.subcool_share > 0.0:
        needed = flow * cout.other * latent_c / (plate.two_phase * drive_out)
        if needed >= c.subcool_share:
            h_lo = h_co - c.subcool_share * plate.two_phase * drive_out / max(flow, 1e-5)
        else:
            t_in = t_co_sat if cout.other > 0.0 else t_co
            cp_pass = saturation(r, 0.5 * (t_in + air.condenser_temperature)).cp_l
            units = (c.subcool_share - needed) * plate.liquid / (max(flow, 1e-5) * cp_pass)
            cooled = positive(t_in - air.condenser_temperature) * -math.expm1(-units)
            h_lo = min(h_co, h_l_co) - cp_pass * cooled
    t_bubble = liquid_temperature(r, h_lo)
    t_liquid = min(t_bubble, t_co_sat)
    x_lo = min(max((h_lo - h_l_co) / latent_c, 0.0), 1.0)
    rho_lo = 1.0 / (x_lo / high.rho_v + (1.0 - x_lo) / saturation(r, t_liquid).rho_l)
    liquid_loss = c.liquid_loss + restriction_loss(LIQUID_RESTRICTION, c.high_side_area)
    p_xi = p_co - friction(liquid_loss, flow, rho_lo)
    carried = gas_pressure * min(x_lo / 0.20, 1.0)  # vapour that leaves the condenser takes the foreign gas along
    t_xi_sat = saturation_temperature(r, max(p_xi - carried, 0.3e5))
    sat_xi = saturation(r, t_xi_sat)
    x_xi = min(max((h_lo - sat_xi.h_l) / (sat_xi.h_v - sat_xi.h_l), 0.0), 1.0)
    t_xi = min(t_bubble, t_xi_sat)  # foreign gas raises the pressure: a little vapour that came along is liquid again
    subcooling = positive(t_xi_sat - t_xi) - 0.1 if t_xi_sat > t_xi else 0.0

    # ---- evaporator: friction, mean temperature
    latent_e = sat_eo.h_v - sat_eo.h_l
    dp_e = friction(c.evaporator_loss, flow, 2.0 * sat_eo.rho_v) * (1.0 + 8.0 * oil)
    slope_e = latent_e / (t_eo_sat * (1.0 / sat_eo.rho_v - 1.0 / sat_eo.rho_l))
    dt_e = min(dp_e / slope_e, 15.0)
    p_ei = p_eo + dp_e
    t_em = t_eo_sat + 0.5 * dt_e
    sat_em = saturation(r, t_em)

    # ---- expansion device
    superheat = (t_eo - t_eo_sat) if out.units > 0.0 else -20.0 * out.other
    if c.orifice > 0.5:
        bore = c.tube_diameter * math.sqrt(c.expansion_area)
        p_flash = sat_xi.p if x_xi > 0.0 else saturation(r, t_xi).p
        delivered = orifice_tube_flow(
            bore, c.tube_length, max(p_xi, 0.3e5), p_ei, p_flash, max(subcooling, 0.0), x_xi, sat_xi.rho_l,
            r.p_critical, r.t_critical,
        )  # fmt: skip
    else:
        opening = (
            c.valve_stuck if c.valve_stuck >= 0.0 else valve_opening(superheat, c.valve_superheat, c.valve_gradient)
        )
        rho_xi = 1.0 / (x_xi / sat_xi.rho_v + (1.0 - x_xi) / sat_xi.rho_l)
        delivered = thermostatic_valve_flow(
            c.valve_area * c.expansion_area, opening, rho_xi, p_xi - p_ei, x_xi, c.valve_choked
        )

    # ---- evaporator balance
    state = coil(
        c, r, sat_em, t_em, flow, h_lo, air.evaporator_temperature, air.evaporator_humidity, air.pressure,
        air.evaporator_density,
    )  # fmt: skip
    drying = flow * sat_eo.cp_v * out.units / state.gas
    boiling_share = 1.0 - drying
    boiled = flow * (min(h_eo, sat_eo.h_v) - h_lo)
    gas_heat = flow * max(h_eo - sat_eo.h_v, 0.0)
    nominal_flow = usual_flow(c)
    flow_balance = (delivered - flow) / nominal_flow
    # no share and no heat must not make a heat: less than nothing of a coil warmer than its air would balance
    taken = boiling_share * (state.heat if boiling_share > 0.0 else abs(state.heat))
    evaporator_balance = (boiled - taken) / (nominal_flow * 150e3)

    # ---- refrigerant in the loop
    x_ei = min(max((h_lo - sat_eo.h_l) / latent_e, 0.0), 1.0)
    wet_e = two_phase_density(x_ei, 1.0 - min(out.other, 1.0), sat_em.rho_l, sat_em.rho_v)
    boiling = min(max(boiling_share, 0.0), 1.0)
    mass = zone.mass + c.evaporator_volume * (boiling * wet_e + (1.0 - boiling) * sat_eo.rho_v)
    mass += c.subcool_share * c.condenser_volume * rho_lo
    mass += c.liquid_volume * rho_lo + c.discharge_volume * 0.85 * high.rho_v + c.suction_volume * rho_suc
    if c.accumulator > 0.5:
        level = out.level
        mass += c.storage_volume * (level * sat_eo.rho_l + (1.0 - level) * sat_eo.rho_v)
    elif receiver_behind:  # liquid settles in it only as far as the restriction leaves no vapour to come through
        level = 1.0 / (1.0 + math.exp(min((h_lo - sat_xi.h_l) / (RECEIVER_QUALITY * (sat_xi.h_v - sat_xi.h_l)), 40.0)))
        mass += c.storage_volume * (level * sat_xi.rho_l + (1.0 - level) * sat_xi.rho_v)
    else:
        level = cout.level
        stored = saturation(r, t_co).rho_l if cout.units > 0.0 else high.rho_l
        mass += c.storage_volume * (level * stored + (1.0 - level) * high.rho_v)
    vapour_volume = zone.vapour_volume
    return Loop(
        flow_balance, evaporator_balance, condenser_balance, (mass - c.charge) / c.label_charge,
        flow, intake.share,
        sat.p, p_eo, p_ei, p_xi, p_co, condenser_in_pressure, p_dis,
        te, tc, t_suc, t_eo, t_eo_sat + dt_e, t_xi, t_liquid, t_co, t_ci, t_dis,
        h_suc, h_eo, h_lo, h_co, h_ci, h_dis,
        max(superheat, 0.0), subcooling, x_xi, 1.0 - out.other,
        boiling_share, gas_heat, boiled + gas_heat, flow * (h_ci - h_lo), flow * specific_work,
        mass, level, vapour_volume, t_em, fan,
    )  # fmt: skip


@njit(cache=True)
def _density(r: Any, sat: Any, t_sat: float, h: float) -> float:
    """Density [kg/m3] of vapour or wet vapour at a saturation state already at hand."""
    if h >= sat.h_v:
        return vapour(r, t_sat, h).rho
    x = (h - sat.h_l) / (sat.h_v - sat.h_l)
    return 1.0 / (max(x, 0.02) / sat.rho_v + (1.0 - max(x, 0.02)) / sat.rho_l)
