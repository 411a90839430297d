"""Oil that goes round with the refrigerant: what is beyond the usual, and the liquid it keeps from boiling."""

from __future__ import annotations

import math
from typing import Any

from numba import njit

__all__ = ["excess", "held_liquid", "rise_at"]

USUAL = 0.025  # mass share of the flow in a healthy loop; its effects are part of every other coefficient
HELD, NEAR = 4.2, 2.4  # K; laid by eye through the source's curve, see `held_liquid`


@njit(cache=True)
def excess(c: Any) -> float:
    """Oil beyond the usual, mass share of the flow [-]."""
    return max(c.oil_fraction - USUAL, 0.0)


@njit(cache=True)
def held_liquid(oil: float, rise: float) -> float:
    """Liquid refrigerant [kg/kg of flow] that `oil` [kg/kg] keeps when the mixture boils `rise` [K] above saturation.

    The last liquid of an evaporator is mostly oil: with a mass share w of oil it boils at T_bub(w), so at a rise of
    T_bub - T_sat the oil still holds m = oil (1 - w)/w. A valve that feels the rise takes it for superheat.
    (1 - w)/w = 4.2 K/(rise + 2.4 K) follows the source within a sixth from 1.6 to 16 K, R-134a and R-1234yf, -5 to
    10 °C.

    Source: Thome 1995, HVAC&R Research 1:334-349, boiling points of refrigerant-oil mixtures (from memory).

    >>> round(held_liquid(0.1, 5.0), 3)
    0.057
    """
    return oil * HELD / (max(rise, 0.0) + NEAR)


@njit(cache=True)
def rise_at(oil: float, gained: float, latent: float, cp: float) -> float:
    """Temperature over saturation [K] of suction gas that carries `oil` and the liquid it holds.

    Parameters: oil beyond the usual [kg/kg]; `gained` enthalpy less that of saturated vapour [J/kg]; latent heat
    [J/kg]; heat capacity of the vapour [J/(kg K)].

    The root of cp t = gained + latent m(t); no less than zero, where more liquid comes than oil can hold.

    >>> round(rise_at(0.0, 4500.0, 198e3, 900.0), 6)
    5.0
    """
    b = cp * NEAR - gained
    missing = oil * latent * HELD + gained * NEAR
    return max((-b + math.sqrt(max(b * b + 4.0 * cp * missing, 0.0))) / (2.0 * cp), 0.0)
