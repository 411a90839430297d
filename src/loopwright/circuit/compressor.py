"""Compressor: piston (fixed, variable) and electric scroll; flow, work, and the controls that reduce it."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from numba import njit

from loopwright.fluids.refrigerants import isentrope

__all__ = [
    "Displaced", "capacity_share", "displaced", "isentropic_efficiency", "usual_flow", "volumetric_efficiency", "work",
]  # fmt: skip

USUAL_DENSITY = 8.0  # kg/m3 of swept volume, order of size
KAPPA = 1.11  # isentropic exponent of R-134a vapour, as used where the correlation was tabulated


class Displaced(NamedTuple):
    """Volume flow drawn in [m3/s] and the share of capacity that the controls leave."""

    rate: float
    share: float


@njit(cache=True)
def usual_flow(c: Any) -> float:
    """Flow [kg/s] of the size that a circuit `c` usually has: a measure for balances and pipes, not a prediction."""
    return USUAL_DENSITY * c.displacement * c.speed


@njit(cache=True)
def volumetric_efficiency(speed: float, pressure_ratio: float, scroll: float) -> float:
    """Volume drawn in over volume swept.

    Parameters: shaft `speed` [1/s], `pressure_ratio` [-], `scroll` 1 for an electric scroll and 0 for pistons.

    eta_v = f(n) (a - b PR^(1/kappa)), held above 0.03 so that a solver may pass through absurd ratios.
    Valid for about 10 to 75 1/s; beyond it the polynomial in speed is held at its ends.

    Source: Li 2013, simplified steady-state compressor model (piston: 170 cm3, R-134a; scroll: 54 cm3).

    >>> round(volumetric_efficiency(16.67, 4.0, 0.0), 3)
    0.729
    """
    x = pressure_ratio ** (1.0 / KAPPA)
    if scroll > 0.5:
        r = min(max(speed / 50.0, 0.2), 2.2)
        eta = (0.693 + 0.543 * r - 0.236 * r * r) * (1.047 - 0.051 * x)
    else:
        r = min(max(speed / (2000.0 / 60.0), 0.2), 2.6)
        eta = (1.223 - 0.206 * r - 0.017 * r * r) * (0.779 - 0.036 * x)
    return max(eta, 0.03)


@njit(cache=True)
def isentropic_efficiency(speed: float, pressure_ratio: float, scroll: float) -> float:
    """Isentropic work over real work, shaft to gas.

    Parameters: shaft `speed` [1/s], `pressure_ratio` [-], `scroll` 1 for an electric scroll and 0 for pistons.

    Straight lines through the trade literature's order of size: pistons 0.65 to 0.75 at 1000 to 1500 1/min and ratio 4,
    0.45 to 0.60 above 3000 1/min; from memory, low confidence, so the vehicle prior carries a wide scale on it.

    >>> 0.65 < isentropic_efficiency(20.0, 4.0, 0.0) < 0.75
    True
    """
    if scroll > 0.5:
        eta = 0.70 - 0.010 * (pressure_ratio - 3.0) - 0.0008 * (speed - 60.0)
    else:
        eta = 0.70 - 0.012 * (pressure_ratio - 4.0) - 0.0045 * (speed - 20.0)
    return min(max(eta, 0.25), 0.80)


@njit(cache=True)
def capacity_share(c: Any, evaporating_temperature: float, suction_pressure: float, discharge_pressure: float) -> float:
    """Share of full capacity that the controls leave: stroke, speed or clutch duty.

    Parameters: circuit `c`; `evaporating_temperature` [K] at the suction port; the two absolute pressures [Pa].

    Each control is the complementarity "at full capacity, or holding its set-point", written with the narrow
    proportional band that the real device has: the regulating valve of a variable compressor, the speed control of an
    electric one, the mean duty of a clutch between cut-out and cut-in, the high-pressure switch, and the low-pressure
    switch that guards against an empty loop. The stroke limit of a faulty compressor caps the result.
    """
    regulated = _tapered(1.0 + (evaporating_temperature - c.control_temperature) / c.control_band)
    share = min(max(regulated, c.control_minimum), c.stroke_limit)
    high = _tapered((c.high_cutout - discharge_pressure) / 0.15e6 + 1.0)
    low = _tapered((suction_pressure - c.low_cutout) / 0.02e6 + 1.0)
    return share * high * low


@njit(cache=True)
def _tapered(share: float) -> float:
    """A share held between 0 and 1, the last twentieth as an exponential that never quite reaches zero.

    A compressor that is off for good would leave every balance flat; a vanishing flow keeps a slope for the solver.
    """
    if share >= 1.0:
        return 1.0
    if share >= 0.05:
        return share
    return 0.05 * math.exp(max(share / 0.05 - 1.0, -12.0))


@njit(cache=True)
def displaced(c: Any, evaporating_temperature: float, suction_pressure: float, discharge_pressure: float) -> Displaced:
    """Volume flow drawn in at the suction port [m3/s], and the share of capacity left by the controls.

    Parameters: circuit `c`; `evaporating_temperature` [K] at the suction port; absolute pressures [Pa].

    V = share phi eta_v scale V_s n, phi the share that a worn compressor still delivers.
    """
    ratio = max(discharge_pressure / suction_pressure, 1.0)
    share = capacity_share(c, evaporating_temperature, suction_pressure, discharge_pressure)
    eta_v = volumetric_efficiency(c.speed, ratio, 1.0 if c.compressor > 1.5 else 0.0)
    return Displaced(share * c.flow_fraction * eta_v * c.flow_scale * c.displacement * c.speed, share)


@njit(cache=True)
def work(
    c: Any,
    r: Any,
    suction_enthalpy: float,
    suction_entropy: float,
    discharge_saturation: float,
    pressure_ratio: float,
) -> float:
    """Work on a kilogram delivered [J/kg].

    Parameters: circuit `c`, refrigerant `r`; suction enthalpy [J/kg] and entropy [J/(kg K)]; saturation temperature [K]
    at the discharge pressure; pressure ratio.

    w = (h2s - h1) / (eta_s phi^0.6): the gas that leaks back in a worn compressor is compressed again, so the work on
    what is delivered lies between no rise and the 1/phi of full recompression (a judgement).
    """
    h_isentropic = isentrope(r, discharge_saturation, suction_entropy)
    eta_s = isentropic_efficiency(c.speed, pressure_ratio, 1.0 if c.compressor > 1.5 else 0.0)
    return max(h_isentropic - suction_enthalpy, 0.0) / (eta_s * c.work_scale * max(c.flow_fraction, 0.02) ** 0.6)
