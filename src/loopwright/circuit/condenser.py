"""Condenser: a face of fins in cross-flow, split into desuperheating, condensing and subcooling zones."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from numba import njit

from loopwright.circuit.exchange import air_film, condensing_film, series, single_phase_film, strip_conductance
from loopwright.circuit.inventory import two_phase_density
from loopwright.circuit.oil import excess

__all__ = ["Face", "Zones", "face", "fan_share", "positive", "zones"]

FAN_BAND = 60e3  # Pa of condensing pressure over which the governed fan goes from least to full, e-fold; a judgement


class Face(NamedTuple):
    """Heat per kelvin of the whole face if one zone filled it [W/K]: gas, two-phase, liquid; the air's capacity
    rate."""

    gas: float
    two_phase: float
    liquid: float
    air_capacity_rate: float


class Zones(NamedTuple):
    """Shares of the face that the heat balance asks for (together 1 at the solution), and the refrigerant in them
    [kg]."""

    gas: float
    two_phase: float
    liquid: float
    mass: float
    vapour_volume: float


@njit(cache=True)
def fan_share(least: float, half_way: float, pressure: float) -> float:
    """Share of full condenser air that a fan governed by the head gives, in the mean of its stages or its cycling.

    Parameters: share `least` at low head [-], pressure `half_way` [Pa], condensing `pressure` [Pa]. A logistic step
    stands for switch points that differ from stage to stage and from vehicle to vehicle (a judgement).

    >>> round(fan_share(0.4, 1.3e6, 0.8e6), 3), round(fan_share(0.4, 1.3e6, 1.3e6), 3)
    (0.4, 0.7)
    """
    return least + (1.0 - least) / (1.0 + math.exp(min(max((half_way - pressure) / FAN_BAND, -40.0), 40.0)))


@njit(cache=True)
def face(c: Any, r: Any, sat: Any, flow: float, air: float, air_density: float, gas_share: float) -> Face:
    """Conductances of the condenser's face.

    Parameters: circuit `c`, refrigerant `r`, saturation state `sat`, refrigerant `flow` [kg/s], `air` flow [m3/s] and
    its `air_density` [kg/m3], `gas_share` mole share of foreign gas in the vapour. Foreign gas blankets the condensing
    surface: the film is divided by 1 + 6 y (order of size of condensation with a little air; from memory). Oil
    thickens the film: 3 % off for each per cent of oil above the usual 2.5 % (a judgement).
    """
    air_capacity_rate = max(air * air_density * 1006.0, 1.0)
    outside = air_film(c.condenser_conductance, max(air, 1e-4), c.condenser_air_reference)
    flux = max(flow, 2e-4) / c.condenser_flow_area
    oil = 1.0 / (1.0 + 3.0 * excess(c))
    liquid_film = single_phase_film(flux, c.condenser_diameter, sat.mu_l, sat.k_l, sat.cp_l)
    gas_film = single_phase_film(flux, c.condenser_diameter, sat.mu_v, sat.k_v, sat.cp_v)
    wet_film = condensing_film(liquid_film, min(sat.p / r.p_critical, 0.95)) / (1.0 + 6.0 * gas_share)
    area = c.condenser_inner_area * oil
    return Face(
        strip_conductance(series(outside, gas_film * area), air_capacity_rate),
        strip_conductance(series(outside, wet_film * area), air_capacity_rate),
        strip_conductance(series(outside, liquid_film * area), air_capacity_rate),
        air_capacity_rate,
    )


@njit(cache=True)
def zones(
    c: Any,
    sat: Any,
    plate: Face,
    temperature: float,
    flow: float,
    enthalpy_in: float,
    temperature_in: float,
    enthalpy_out: float,
    enthalpy_liquid: float,
    liquid_capacity: float,
    liquid_density: float,
    liquid_units: float,
    drive: float,
) -> Zones:
    """Shares of the face that each zone needs to bring the flow from its inlet to its outlet.

    Parameters: circuit, saturation state, face conductances, condensing `temperature` [K] at the inlet; `flow`
    [kg/s]; inlet enthalpy [J/kg] and temperature [K]; outlet enthalpy [J/kg] (above or below saturation);
    saturated liquid's enthalpy at the outlet pressure [J/kg], below that at the inlet by what friction takes;
    mean heat capacity [J/(kg K)] and density [kg/m3] of the liquid in the subcooling zone;
    `liquid_units` transfer units of the subcooling zone, ln((T_c - T_a)/(T_out - T_a));
    `drive` [K], mean condensing temperature over entering air.

    Desuperheating: f = m cp / G ln((T_in - T_a)/(T_c - T_a)); condensing: f = m dh / (G (T_c - T_a)); subcooling:
    f = m cp / G * units. All explicit, so the balance of the condenser is one equation: the shares add up to one.
    """
    superheat = positive(temperature_in - temperature)
    cp_gas = max((enthalpy_in - sat.h_v) / superheat, 300.0)
    gas = flow * cp_gas / plate.gas * math.log1p(superheat / drive)
    condensed = min(enthalpy_in, sat.h_v) - max(enthalpy_out, enthalpy_liquid)
    if enthalpy_out > sat.h_v:  # nothing condenses: the gas zone is shorter by what it keeps
        condensed = sat.h_v - enthalpy_out
    two_phase = flow * condensed / (plate.two_phase * drive)
    liquid = flow * liquid_capacity / plate.liquid * liquid_units
    quality_out = min(max((enthalpy_out - enthalpy_liquid) / (sat.h_v - sat.h_l), 0.0), 1.0)
    wet = two_phase_density(1.0, quality_out, sat.rho_l, sat.rho_v)
    void = (sat.rho_l - wet) / (sat.rho_l - sat.rho_v)
    total = max(gas + two_phase + liquid, 0.2)  # off the solution the shares do not add up to one; the volume does
    gas_n, two_n, liquid_n = gas / total, two_phase / total, liquid / total
    volume = c.condenser_volume * (1.0 - c.subcool_share)
    mass = volume * (gas_n * 0.85 * sat.rho_v + two_n * wet + liquid_n * liquid_density)
    return Zones(gas, two_phase, liquid, mass, volume * (gas_n + two_n * void))


@njit(cache=True)
def positive(difference: float) -> float:
    """A temperature difference [K] kept positive and smooth, so that a solver may pass through nonsense.

    >>> round(positive(20.0), 4), round(positive(0.0), 4), positive(-20.0) > 0.0
    (20.0005, 0.1, True)
    """
    return 0.5 * (difference + math.sqrt(difference * difference + 0.04))
