"""The two properties that reading a sheet needs: air pressure by altitude, and saturation for plausibility checks."""

from __future__ import annotations

from functools import lru_cache

__all__ = ["pressure", "saturation_pressure"]


def pressure(altitude: float) -> float:
    """Return the pressure of the standard atmosphere [Pa] below 11 km.

    Parameters
    ----------
    altitude : geopotential altitude [m], -2000 to 11000

    ISO 2533:1975: temperature falls 6.5 K a kilometre from 288.15 K, pressure follows the hydrostatic law.

    >>> round(pressure(0.0)), round(pressure(1500.0), -1)
    (101325, 84560.0)
    """
    p0, T0, beta, exponent = 101325.0, 288.15, -0.0065, 5.255880
    return float(p0 * (1 + beta * altitude / T0) ** exponent)


@lru_cache(maxsize=512)
def saturation_pressure(refrigerant: str, temperature: float) -> float | None:
    """Return the saturation pressure [Pa] of a refrigerant at a temperature [K]; None above the critical one."""
    from CoolProp.CoolProp import PropsSI

    if temperature >= PropsSI("Tcrit", refrigerant):
        return None
    return float(PropsSI("P", "T", temperature, "Q", 1, refrigerant))
