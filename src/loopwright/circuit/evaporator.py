"""Evaporator: a wet or dry coil in cross-flow, two-phase and superheating zones, frost."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from numba import njit

from loopwright.circuit.exchange import air_film, boiling_film, series, single_phase_film, strip_conductance
from loopwright.circuit.oil import excess
from loopwright.fluids.moist_air import (
    enthalpy,
    saturated_enthalpy,
    saturated_humidity_ratio,
    temperature_at_enthalpy,
    temperature_at_saturated_enthalpy,
)

__all__ = ["Coil", "CoilAir", "coil", "coil_air", "frost_factor"]

TURNING_WET = 0.03  # heat of a coil wet all over, over that of a dry one, less one, where it turns wet; a judgement


class Coil(NamedTuple):
    """What the coil would do if the two-phase zone filled it, and the superheating zone's conductance.

    `heat` [W] of the full coil, air mass flow `air` [kg/s], outside transfer units `units`, `gas` [W/K] of the full
    face with dry gas inside, `wet` 0 for a dry coil, 1 for a wet one, between while it turns wet.
    """

    heat: float
    air: float
    units: float
    gas: float
    wet: float


class CoilAir(NamedTuple):
    """Air off the coil: temperature [K], humidity ratio [kg/kg], water condensed [kg/s]."""

    temperature: float
    humidity_ratio: float
    condensate: float


@njit(cache=True)
def frost_factor(surface_temperature: float) -> float:
    """Share of the air flow that passes a coil whose surface is below freezing.

    Parameters: mean `surface_temperature` [K]. 1 / (1 + (depth/14 K)^2): a coil a few kelvin under 0 °C still passes
    most of its air, one at -14 °C half of it once it has settled (a judgement; frost has no steady state).

    >>> frost_factor(275.0), frost_factor(259.15)
    (1.0, 0.5)
    """
    depth = max(273.15 - surface_temperature, 0.0) / 14.0
    return 1.0 / (1.0 + depth * depth)


@njit(cache=True)
def coil(
    c: Any,
    r: Any,
    sat: Any,
    temperature: float,
    flow: float,
    enthalpy_in: float,
    air_temperature: float,
    air_humidity: float,
    air_pressure: float,
    air_density: float,
) -> Coil:
    """Heat that a coil held at the evaporating temperature takes from the air.

    Parameters: circuit, refrigerant, mean saturation state and its `temperature` [K]; refrigerant `flow` [kg/s] and
    inlet enthalpy [J/kg]; entering air temperature [K], humidity ratio [kg/kg], pressure [Pa], density [kg/m3].

    Dry: q = m_a cp (1 - e^-NTU) (T_a - T_r).  Wet: q = m_a (1 - e^-NTU*) (h_a - h_s(T_r)), with
    UA* = UA_o/cp / (1 + c_s/cp UA_o/UA_i) and c_s the slope of saturated-air enthalpy between the refrigerant and the
    coil's outer surface. The coil is as wet as gives the greater heat.
    Source: Braun, Klein and Mitchell 1989, Effectiveness models for cooling towers and cooling coils, ASHRAE
    Transactions 95(2):164-174 (from memory); capacity rate of a boiling refrigerant infinite.
    """
    cp = 1006.0 + 1860.0 * air_humidity
    volume_flow = c.evaporator_air * c.evaporator_air_fraction * frost_factor(temperature + 1.0)
    air = max(volume_flow * air_density, 1e-4)
    outside = air_film(c.evaporator_conductance, max(volume_flow, 1e-4), c.evaporator_air_reference)
    flux = max(flow, 2e-4) / c.evaporator_flow_area
    latent = sat.h_v - sat.h_l
    liquid_film = single_phase_film(flux, c.evaporator_diameter, sat.mu_l, sat.k_l, sat.cp_l)
    gas_film = single_phase_film(flux, c.evaporator_diameter, sat.mu_v, sat.k_v, sat.cp_v)
    quality_in = min(max((enthalpy_in - sat.h_l) / latent, 0.0), 0.9)
    boiling = c.evaporator_flow_area / c.evaporator_inner_area * (1.0 - quality_in)
    quality = min(0.5 + 0.5 * quality_in, 0.85)
    oil = 1.0 / (1.0 + 3.0 * excess(c))
    inside = boiling_film(liquid_film, boiling, quality, sat.rho_l / sat.rho_v) * c.evaporator_inner_area * oil
    dry = strip_conductance(series(outside, inside), air * cp) * (air_temperature - temperature)
    h_air = enthalpy(air_temperature, air_humidity)
    h_sat = saturated_enthalpy(temperature, air_pressure)
    # slope of the saturation line over the part between refrigerant and outer surface (about 0.4 of the way to the air)
    reach = 0.4 * max(air_temperature - temperature, 1.0)
    slope = (saturated_enthalpy(temperature + reach, air_pressure) - h_sat) / reach
    outside_wet = outside / cp
    overall = outside_wet / (1.0 + slope / cp * outside / inside)
    wet = air * -math.expm1(-overall / air) * (h_air - h_sat)
    units = outside / (air * cp)
    gas = strip_conductance(series(outside, gas_film * c.evaporator_inner_area), air * cp)
    wetted = min(max(wet - dry, 0.0) / (TURNING_WET * max(dry, 1.0)), 1.0)
    return Coil(max(wet, dry), air, units, gas, wetted)


@njit(cache=True)
def coil_air(
    state: Coil, share: float, gas_heat: float, air_temperature: float, air_humidity: float, air_pressure: float
) -> CoilAir:
    """Air off the part of the face that boils refrigerant, mixed with air off the superheating part.

    Parameters: coil state, two-phase `share` of the face, sensible heat of the superheating part `gas_heat` [W],
    entering air [K, kg/kg, Pa].

    Off a wet coil the air leaves on the line from its inlet towards saturation at the effective surface enthalpy
    h_s,eff = h_a - q/m / (1 - e^-NTU_o): w_out = w_s,eff + (w_in - w_s,eff) e^-NTU_o, and the temperature is that at
    which the air's enthalpy has fallen by just the heat taken. Where that line would add moisture the coil is dry; a
    coil that turns wet takes its share of that moisture, since the two theories meet in heat and not in moisture.
    """
    cp = 1006.0 + 1860.0 * air_humidity
    temperature = air_temperature - state.heat / (state.air * cp)
    humidity = air_humidity
    if state.wet > 0.0:
        left = math.exp(-state.units)
        h_in = enthalpy(air_temperature, air_humidity)
        surface = temperature_at_saturated_enthalpy(h_in - state.heat / state.air / (1.0 - left), air_pressure)
        w_surface = saturated_humidity_ratio(surface, air_pressure)
        if w_surface < air_humidity:
            humidity -= state.wet * (air_humidity - w_surface) * (1.0 - left)
            temperature = temperature_at_enthalpy(h_in - state.heat / state.air, humidity)
    boiling = min(max(share, 0.0), 1.0)
    mixed = air_temperature + boiling * (temperature - air_temperature) - gas_heat / (state.air * cp)
    mixed_humidity = air_humidity + boiling * (humidity - air_humidity)
    return CoilAir(mixed, mixed_humidity, state.air * (air_humidity - mixed_humidity))
