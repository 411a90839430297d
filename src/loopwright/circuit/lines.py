"""Hoses, pipes and restrictions: friction, heat to and from the air under the hood."""

from __future__ import annotations

import math

from numba import njit

__all__ = ["approach", "friction", "restriction_loss"]

SUCTION_RESTRICTION = 4.5e7  # 1/(2 Cd^2 A^2) of a 14 mm bore, Cd 0.7 [1/m4]
LIQUID_RESTRICTION = 4.0e8  # the same of an 8 mm bore [1/m4]


@njit(cache=True)
def friction(loss: float, flow: float, density: float) -> float:
    """Pressure drop [Pa] = K m^2 / rho, with the loss coefficient K [1/m4], flow [kg/s], density [kg/m3].

    >>> friction(1e8, 0.05, 12.5)
    20000.0
    """
    return loss * flow * flow / density


@njit(cache=True)
def restriction_loss(reference: float, area_fraction: float) -> float:
    """Loss coefficient [1/m4] that a narrowed passage adds: K (1/a^2 - 1), a the share of the passage left.

    >>> restriction_loss(1e8, 0.5)
    300000000.0
    """
    return reference * (1.0 / (area_fraction * area_fraction) - 1.0)


@njit(cache=True)
def approach(conductance: float, flow: float, heat_capacity: float) -> float:
    """Share of the way to the surrounding temperature that a stream goes: 1 - exp(-UA/(m cp)).

    Parameters: conductance [W/K], flow [kg/s] (held above 0.5 g/s), heat capacity [J/(kg K)].

    >>> round(approach(2.5, 0.04, 900.0), 4)
    0.0671
    """
    return -math.expm1(-conductance / (max(flow, 5e-4) * heat_capacity))
