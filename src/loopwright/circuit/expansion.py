"""Expansion devices: the thermostatic valve and the orifice tube."""

from __future__ import annotations

import math

from numba import njit

__all__ = ["orifice_tube_flow", "thermostatic_valve_flow", "valve_opening"]


@njit(cache=True)
def valve_opening(superheat: float, static_superheat: float, gradient: float) -> float:
    """Share of full opening of a thermostatic valve.

    Parameters: `superheat` at the bulb [K], `static_superheat` at which it begins to open [K], `gradient` of further
    superheat for full opening [K]. Proportional between, with 2 % left as bleed and a limit at full opening.

    >>> valve_opening(6.5, 4.0, 5.0)
    0.5
    """
    return min(max((superheat - static_superheat) / gradient, 0.02), 1.0)


@njit(cache=True)
def thermostatic_valve_flow(
    area: float, opening: float, density_in: float, pressure_drop: float, quality: float, choked: float
) -> float:
    """Mass flow of a valve [kg/s]: m = (C_d A) opening sqrt(2 rho dp), less where vapour enters with the liquid.

    Parameters: `area` C_d A at full opening [m2], `opening` [-], inlet density [kg/m3] (of the mixture, if it flashes
    before the valve), pressure drop [Pa], vapour `quality` at the inlet, share `choked` of the flow that vapour takes.
    Negative drops give the flow backwards, so that a solver sees a slope.

    Liquid alone passes before it has time to boil. Once bubbles come along it boils on the way and chokes: 1 - s
    (1 - e^(-x/0.03)). The share s of a valve is not known: a short tube passes 0.35 less than the formula at quality
    0.10, homogeneous equilibrium 0.6 less (Leung's omega method); both orders of size, from memory.

    >>> round(thermostatic_valve_flow(2e-6, 0.5, 1130.0, 9e5, 0.0, 0.4), 4)
    0.0451
    >>> round(thermostatic_valve_flow(2e-6, 0.5, 1130.0, 9e5, 0.2, 0.4), 4)
    0.0271
    """
    passed = 1.0 - choked * -math.expm1(-quality / 0.03)
    return area * opening * passed * math.copysign(math.sqrt(2.0 * density_in * abs(pressure_drop)), pressure_drop)


@njit(cache=True)
def orifice_tube_flow(
    diameter: float,
    length: float,
    pressure_in: float,
    pressure_out: float,
    saturation_pressure_in: float,
    subcooling: float,
    quality: float,
    density_liquid: float,
    pressure_critical: float,
    temperature_critical: float,
) -> float:
    """Mass flow of a short tube [kg/s].

    Parameters: bore and length [m]; absolute pressures before and after [Pa]; saturation pressure at the entering
    temperature [Pa]; subcooling [K] (0 when it flashes before the tube); vapour `quality` there; density of the liquid
    [kg/m3]; critical constants.

    m = A sqrt(2 rho_l (p_in - p_f)), with the flashing pressure
    p_f/p_sat = b1 + b2 (p_in/p_c)^b3 (L/D)^b4 (dT/T_c)^b5 + b8 exp(b9 (D/D0) (L/D)^b10) + b11 (p_c - p_out)/p_c,
    D0 = 1.35 mm. Flow is choked there, so p_out matters only through the last term, until p_out exceeds p_f.
    With vapour before the tube the flow is that of saturated liquid times (1 + 8 x)^-0.5, which loses 15 % at quality
    0.05 and 25 % at 0.10 (order of size reported for short tubes, from memory).

    Source: Kim, O'Neal and Yuan 1994 (HFC-134a and CFC-12 short tubes); the R-134a coefficients serve every refrigerant
    here. Validity 9.5 to 25.4 mm long; used to 38 mm, where correlations differ by up to a fifth.
    """
    ratio = length / diameter
    flashing = saturation_pressure_in * (
        1.0156
        + 10.0612
        * (pressure_in / pressure_critical) ** -0.3296
        * ratio**-0.1758
        * (subcooling / temperature_critical) ** 1.0831
        - 0.1802 * math.exp(-0.00214 * (diameter / 1.35e-3) * ratio**2.9596)
        - 0.0745 * (pressure_critical - pressure_out) / pressure_critical
    )
    drop = pressure_in - max(min(flashing, pressure_in * 0.985), pressure_out)
    area = 0.25 * math.pi * diameter * diameter
    flow = area * math.sqrt(2.0 * abs(drop) * density_liquid / (1.0 + 8.0 * quality))
    return math.copysign(flow, drop)
