"""The standard atmosphere: pressure and temperature by altitude, compiled, SI units.

Source: ISO 2533:1975, the layer from below sea level to 11 km of geopotential altitude. What a barometer shows differs
by weather, some 3 kPa either way (common practice, no source).
"""

from __future__ import annotations

from numba import njit

__all__ = ["density", "pressure", "temperature"]

RADIUS = 6356766.0  # m, nominal radius of the earth
GAS_CONSTANT = 287.05287  # dry air, J/(kg K)
GRAVITY = 9.80665  # m/s2
LAPSE = -0.0065  # K per metre of geopotential altitude
SEA_LEVEL_TEMPERATURE = 288.15  # K
SEA_LEVEL_PRESSURE = 101325.0  # Pa
LOWEST, HIGHEST = -5000.0, 11000.0  # m of geopotential altitude; beyond, the end values


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _geopotential(altitude: float) -> float:
    H = RADIUS * altitude / (RADIUS + altitude)
    return min(max(H, LOWEST), HIGHEST)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def temperature(altitude: float) -> float:
    """Temperature [K] of the standard atmosphere at a geometric altitude [m], -5 to 11 km.

    Source: ISO 2533:1975 (geopotential altitude, temperature linear in it).

    >>> round(temperature(1000.0), 2)
    281.65
    """
    return SEA_LEVEL_TEMPERATURE + LAPSE * _geopotential(altitude)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def pressure(altitude: float) -> float:
    """Pressure [Pa] of the standard atmosphere at a geometric altitude [m], -5 to 11 km.

    Source: ISO 2533:1975 (hydrostatic balance).

    >>> round(pressure(250.0))
    98358
    """
    ratio = temperature(altitude) / SEA_LEVEL_TEMPERATURE
    return float(SEA_LEVEL_PRESSURE * ratio ** (-GRAVITY / (LAPSE * GAS_CONSTANT)))


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def density(altitude: float) -> float:
    """Density [kg/m3] of the standard atmosphere at a geometric altitude [m], -5 to 11 km.

    Source: ISO 2533:1975 (ideal gas).

    >>> round(density(0.0), 3)
    1.225
    """
    return pressure(altitude) / (GAS_CONSTANT * temperature(altitude))
