"""Heat transfer that condenser and evaporator share: films inside the passages, fins outside, strips in cross-flow."""

from __future__ import annotations

import math

from numba import njit

__all__ = ["air_film", "boiling_film", "condensing_film", "series", "single_phase_film", "strip_conductance"]


@njit(cache=True)
def single_phase_film(
    mass_flux: float, diameter: float, viscosity: float, conductivity: float, heat_capacity: float
) -> float:
    """Film coefficient of one phase in a passage [W/(m2 K)].

    Parameters: mass flux [kg/(m2 s)], hydraulic diameter [m], viscosity [Pa s], conductivity [W/(m K)], heat
    capacity [J/(kg K)].

    Nu = (4.36^4 + (0.023 Re^0.8 Pr^0.4)^4)^(1/4): turbulent by Dittus and Boelter (as in Incropera, eq. 8.60), blended
    into the laminar 4.36 of uniform heat flux so that a slow flow has no step.

    >>> round(single_phase_film(300.0, 1.2e-3, 1.8e-4, 0.075, 1500.0))
    1051
    """
    reynolds = mass_flux * diameter / viscosity
    prandtl = viscosity * heat_capacity / conductivity
    turbulent = 0.023 * reynolds**0.8 * prandtl**0.4
    t2 = turbulent * turbulent
    nusselt = math.sqrt(math.sqrt(361.4 + t2 * t2))
    return nusselt * conductivity / diameter


@njit(cache=True)
def condensing_film(liquid_film: float, reduced_pressure: float) -> float:
    """Mean condensing film coefficient over full condensation [W/(m2 K)].

    Parameters: `liquid_film` [W/(m2 K)] with the whole flow as liquid; `reduced_pressure` p/p_crit [-].

    h = h_lo (0.55 + 2.09 / p_r^0.38), the mean from quality 1 to 0 of Shah's local relation.
    Source: Shah 1979, Int. J. Heat Mass Transfer 22:547-556 (from memory). Valid p_r 0.002 to 0.44, used beyond it.

    >>> round(condensing_film(1000.0, 0.25))
    4089
    """
    return liquid_film * (0.55 + 2.09 / reduced_pressure**0.38)


@njit(cache=True)
def boiling_film(liquid_film: float, boiling_number: float, quality: float, density_ratio: float) -> float:
    """Flow-boiling film coefficient [W/(m2 K)].

    Parameters: `liquid_film` [W/(m2 K)] with the whole flow as liquid; `boiling_number` q/(G h_fg) [-]; mean vapour
    `quality` [-]; `density_ratio` rho_l / rho_v [-].

    h = h_lo (1-x)^0.8 [1 + 3000 Bo^0.86 + 1.12 (x/(1-x))^0.75 (rho_l/rho_v)^0.41].
    Source: Gungor and Winterton 1987, Chem. Eng. Res. Des. 65:148-156 (from memory).

    >>> boiling_film(300.0, 3e-4, 0.5, 80.0) > 1500.0
    True
    """
    wet = 1.0 - quality
    enhancement = 1.0 + 3000.0 * boiling_number**0.86 + 1.12 * (quality / wet) ** 0.75 * density_ratio**0.41
    return liquid_film * wet**0.8 * enhancement


@njit(cache=True)
def air_film(conductance_reference: float, flow: float, flow_reference: float) -> float:
    """Air-side conductance [W/K] at an air flow other than the reference.

    Parameters: conductance [W/K] at the reference; volume flows [m3/s].

    hA = hA_ref (V/V_ref)^0.51: the Colburn factor of louvred fins falls as Re_Lp^-0.49.
    Source: Chang and Wang 1997, Int. J. Heat Mass Transfer 40:533-544 (exponent; from memory).

    >>> round(air_film(1000.0, 0.5, 1.0), 1)
    702.2
    """
    return conductance_reference * (flow / flow_reference) ** 0.51


@njit(cache=True)
def series(first: float, second: float) -> float:
    """Two conductances one behind the other [W/K].

    >>> series(2.0, 2.0)
    1.0
    """
    return first * second / (first + second)


@njit(cache=True)
def strip_conductance(conductance: float, air_capacity_rate: float) -> float:
    """Heat per kelvin between refrigerant and entering air of a whole face [W/K].

    Parameters: overall conductance UA [W/K], air capacity rate C [W/K].

    G = C (1 - exp(-UA/C)). A strip of the face, a share df of it, gives dq = G (T_r - T_air,in) df; along the
    refrigerant this is the effectiveness of cross-flow with refrigerant mixed and air unmixed (Incropera, table
    11.3), and for constant refrigerant temperature it is 1 - exp(-NTU).

    >>> round(strip_conductance(1000.0, 1000.0), 2)
    632.12
    """
    return air_capacity_rate * -math.expm1(-conductance / air_capacity_rate)
