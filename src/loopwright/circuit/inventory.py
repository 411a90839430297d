"""How much refrigerant lies where: void fraction in the two-phase zones."""

from __future__ import annotations

import math

from numba import njit

__all__ = ["two_phase_density"]


@njit(cache=True)
def _void_integral(quality: float, slip: float) -> float:
    """Antiderivative of alpha(x) = x / (x + (1-x) s) in x."""
    k = 1.0 - slip
    return quality / k - slip / (k * k) * math.log(slip + k * quality)


@njit(cache=True)
def two_phase_density(quality_first: float, quality_last: float, density_liquid: float, density_vapour: float) -> float:
    """Mean density [kg/m3] of a two-phase zone whose quality runs evenly from one value to another.

    Parameters: qualities at the two ends (0 to 1, any order), saturated densities [kg/m3].

    Void fraction alpha = 1 / (1 + (1-x)/x (rho_v/rho_l)^(2/3)), integrated in closed form over x.
    Source: Zivi 1964, J. Heat Transfer 86:247-252 (minimum entropy production; from memory).

    >>> round(two_phase_density(0.0, 1.0, 1150.0, 50.0), 1)
    265.0
    """
    slip = math.exp(math.log(density_vapour / density_liquid) * (2.0 / 3.0))
    span = quality_last - quality_first
    if abs(span) < 1e-3:
        x = 0.5 * (quality_first + quality_last)
        void = x / (x + (1.0 - x) * slip)
    else:
        void = (_void_integral(quality_last, slip) - _void_integral(quality_first, slip)) / span
    return void * density_vapour + (1.0 - void) * density_liquid
