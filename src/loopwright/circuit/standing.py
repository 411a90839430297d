"""Engine off: the pressure of a soaked loop, and how pressures close in after a stop."""

from __future__ import annotations

from typing import Any

from numba import njit

from loopwright.circuit.loop import AIR_GAS_CONSTANT
from loopwright.fluids.refrigerants import saturation, saturation_pressure, superheated_density

__all__ = ["equalising_time", "loop_volume", "standing_pressure"]

COLD_METAL = 0.12  # vapour that condenses on it [kg]: 1.5 kg of aluminium, 15 K, 180 kJ/kg latent; order of size


@njit(cache=True)
def loop_volume(c: Any) -> float:
    """Refrigerant volume of the whole loop [m3]."""
    return (
        c.condenser_volume
        + c.evaporator_volume
        + c.storage_volume
        + c.liquid_volume
        + c.discharge_volume
        + c.suction_volume
    )


@njit(cache=True)
def standing_pressure(c: Any, r: Any, temperature: float) -> float:
    """Absolute pressure [Pa] of a loop that has soaked at one temperature [K].

    With liquid present it is the saturation pressure whatever the charge; with too little, vapour fills the volume and
    the pressure follows from its density; foreign gas adds its partial pressure in the space the liquid leaves.
    """
    volume = loop_volume(c)
    sat = saturation(r, temperature)
    density = c.charge / volume
    if density >= sat.rho_v:
        pressure = sat.p
        vapour_volume = volume * (sat.rho_l - density) / (sat.rho_l - sat.rho_v)
    else:
        low, high = 1e3, sat.p
        for _ in range(40):
            middle = 0.5 * (low + high)
            if superheated_density(r, middle, temperature) < density:
                low = middle
            else:
                high = middle
        pressure = 0.5 * (low + high)
        vapour_volume = volume
    return pressure + c.foreign_gas * AIR_GAS_CONSTANT * temperature / max(vapour_volume, 0.1 * volume)


@njit(cache=True)
def equalising_time(
    c: Any, r: Any, flow: float, condensing_temperature: float, evaporating_temperature: float
) -> float:
    """Time constant [s] with which the two pressures close in after a stop.

    Parameters: circuit; flow before the stop [kg/s]; the two saturation temperatures before it [K].

    What must pass is the vapour that raises the low side to the common pressure, plus what condenses on its cold metal;
    it passes through the expansion device (an orifice tube stays open, at half its flow in the mean while the
    difference fades; a thermostatic valve closes to its bleed of 2 % of full opening, or 4 % of its flow) and back
    through a worn compressor. Order of size only. After three time constants a gauge shows the sides equal: two minutes
    or less for orifice tubes, two to ten for valves (common practice, no source).
    """
    rise = saturation_pressure(r, 0.5 * (condensing_temperature + evaporating_temperature))
    moved = (c.evaporator_volume + c.suction_volume) * saturation(r, evaporating_temperature).rho_v * (
        rise / saturation_pressure(r, evaporating_temperature)
    ) + COLD_METAL
    if c.orifice > 0.5:
        opening = 0.5
    elif c.valve_stuck >= 0.0:
        opening = c.valve_stuck
    else:
        opening = 0.04
    leak = max(opening * c.expansion_area * flow, 2e-4) + 0.5 * (1.0 - c.flow_fraction) * 0.03
    return min(max(moved / leak, 8.0), 1200.0)
