"""The saturation dome in the pressure-enthalpy plane, for drawing."""

from __future__ import annotations

from functools import cache

__all__ = ["COLDEST", "dome", "saturated_liquid"]

COLDEST = 233.15  # K, where the drawn dome begins
_STEPS = 70
_CRITICAL_STEPS = 10
# The widths of liquid and vapour close up near the critical point as (T_c - T)^0.36: order-parameter exponent about a
# third, measured 0.35 to 0.37 for common fluids. Only the last 2.5 K of the drawing, beyond the tables, rests on it.
_EXPONENT = 0.36


@cache
def dome(refrigerant: str) -> tuple[tuple[float, float], ...]:
    """Return the dome's outline as (enthalpy [J/kg], absolute pressure [Pa]), up the liquid side, down the vapour side.

    Raises
    ------
    ValueError : a refrigerant without property tables
    """
    from loopwright.fluids import refrigerant as properties
    from loopwright.fluids.refrigerants import saturation

    r = properties(refrigerant)
    warmest = r.t_critical - 2.5
    states = [saturation(r, COLDEST + (warmest - COLDEST) * i / _STEPS) for i in range(_STEPS + 1)]
    liquid = [(float(s.h_l), float(s.p)) for s in states]
    vapour = [(float(s.h_v), float(s.p)) for s in states]
    return (*liquid, *_cap(liquid[-2:], vapour[-2:], float(r.p_critical)), *reversed(vapour))


def _cap(
    liquid: list[tuple[float, float]], vapour: list[tuple[float, float]], p_critical: float
) -> list[tuple[float, float]]:
    """Close the dome between the last liquid and vapour state and the critical point."""
    (h_l, p), (h_v, _) = liquid[1], vapour[1]
    middle, before = (h_l + h_v) / 2, (liquid[0][0] + vapour[0][0]) / 2
    drift = (middle - before) / (p - liquid[0][1]) * (p_critical - p)
    shares = [1 - (1 - i / _CRITICAL_STEPS) ** 2 for i in range(1, _CRITICAL_STEPS + 1)]
    half = [(h_v - h_l) / 2 * (1 - s) ** _EXPONENT for s in shares]
    centre = [(middle + drift * s, p + (p_critical - p) * s) for s in shares]
    rising = [(h - w, q) for (h, q), w in zip(centre, half, strict=True)]
    falling = [(h + w, q) for (h, q), w in zip(centre, half, strict=True)]
    return [*rising, *reversed(falling[:-1])]


def saturated_liquid(refrigerant: str, temperature: float) -> tuple[float, float]:
    """Return enthalpy [J/kg] and absolute pressure [Pa] of saturated liquid at `temperature` [K].

    Raises
    ------
    ValueError : a refrigerant without property tables
    """
    from loopwright.fluids import refrigerant as properties
    from loopwright.fluids.refrigerants import saturation

    state = saturation(properties(refrigerant), temperature)
    return float(state.h_l), float(state.p)
