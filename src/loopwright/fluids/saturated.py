"""Saturation and standing pressure of any fluid or predefined blend that CoolProp knows: R744, R407C, R290, R22...

For what is asked once, not in a loop: a call takes from 10 microseconds (one substance) to some milliseconds (a blend).
CoolProp is imported at the first call. Source of every number: CoolProp (HEOS; blends by its predefined mixtures).
"""

from __future__ import annotations

import math
import threading
from functools import cache, lru_cache
from typing import Any, NamedTuple

from loopwright.errors import InputError, Problem

__all__ = ["Saturated", "critical_point", "saturated_pressures", "saturated_temperatures", "standing_pressure"]


class Saturated(NamedTuple):
    """Bubble point (all liquid) and dew point (all vapour), which differ for a blend.

    `bubble` and `dew` are pressures [Pa] or temperatures [K], as asked; densities [kg/m3] are those at these points.
    """

    bubble: float
    dew: float
    liquid_density: float
    vapour_density: float


def saturated_pressures(name: str, temperature: float) -> Saturated:
    """Return bubble and dew pressure [Pa] at a temperature [K].

    Raises
    ------
    InputError : unknown fluid; at or above its critical temperature (a gas then, whatever the pressure); too cold

    >>> s = saturated_pressures("R-744", 293.15)
    >>> round(s.bubble / 1e5, 1), round(s.liquid_density)
    (57.3, 773)
    """
    state, cp = _state(name), _coolprop()
    if _is_above(name, "temperature", temperature):
        raise _supercritical(name, "temperature", temperature)
    if not temperature >= state.Tmin():
        allowed, says = f"from {state.Tmin():.2f} K", "Colder than the equation of state reaches."
        raise InputError([Problem("temperature", repr(temperature), allowed, says)])
    points = [_update(state, cp.QT_INPUTS, (q, temperature), name, "temperature", temperature) for q in (0.0, 1.0)]
    (p0, _, rho0), (p1, _, rho1) = points
    return Saturated(p0, p1, rho0, rho1)


def saturated_temperatures(name: str, pressure: float) -> Saturated:
    """Return bubble and dew temperature [K] at a pressure [Pa, absolute].

    Raises
    ------
    InputError : unknown fluid; at or above its critical pressure; too low for the equation of state

    >>> s = saturated_temperatures("R407C", 5e5)
    >>> round(s.bubble - 273.15, 1), round(s.dew - 273.15, 1)
    (-3.9, 2.4)
    """
    state, cp = _state(name), _coolprop()
    if _is_above(name, "pressure", pressure):
        raise _supercritical(name, "pressure", pressure)
    points = [_update(state, cp.PQ_INPUTS, (pressure, q), name, "pressure", pressure) for q in (0.0, 1.0)]
    (_, t0, rho0), (_, t1, rho1) = points
    return Saturated(t0, t1, rho0, rho1)


def standing_pressure(name: str, temperature: float, mass: float, volume: float) -> float:
    """Return the pressure [Pa, absolute] of a mass [kg] at rest at one temperature [K] in a volume [m3].

    With liquid and vapour present it is the saturation pressure (for a blend it depends on how much is liquid); with
    too little charge, or above the critical temperature as R-744 on a hot day, it follows from the density. A volume
    full of liquid gives the pressure of compressed liquid, which rises by hundreds of kPa a kelvin.

    Caution: no vessel may ever be filled with liquid; keep to its marked limit, the maker's data and local codes.

    Raises
    ------
    InputError : unknown fluid; mass or volume not above zero; outside the equation of state

    >>> round(standing_pressure("R744", 313.15, 0.45, 1.5e-3) / 1e5)
    82
    """
    problems = [
        Problem(field, repr(value), "above zero", "Not a quantity of refrigerant at rest.")
        for field, value in (("mass", mass), ("volume", volume))
        if not value > 0.0
    ]
    if problems:
        raise InputError(problems)
    density = mass / volume
    if _is_above(name, "temperature", temperature):
        return _one_phase_pressure(name, temperature, density, "iphase_supercritical_gas")
    s = saturated_pressures(name, temperature)
    if density >= s.liquid_density:
        return _one_phase_pressure(name, temperature, density, "iphase_liquid")
    if density <= s.vapour_density:
        return _one_phase_pressure(name, temperature, density, "iphase_gas")
    return s.bubble if s.bubble == s.dew else _blend_pressure(name, temperature, density)


def _one_phase_pressure(name: str, temperature: float, density: float, phase: str) -> float:
    state, cp = _state(name), _coolprop()
    state.specify_phase(getattr(cp, phase))
    try:
        return _update(state, cp.DmassT_INPUTS, (density, temperature), name, "temperature", temperature)[0]
    finally:
        state.unspecify_phase()


def _blend_pressure(name: str, temperature: float, density: float) -> float:
    """Pressure of a boiling blend, by the vapour share that gives the density.

    CoolProp's own search from density and temperature returned pressures outside bubble and dew point for R407C,
    R410A and R513A (version 8.0.0, measured), so only its search from quality and temperature is used.
    """
    from scipy.optimize import brentq

    state, cp = _state(name), _coolprop()

    def excess(quality: float) -> float:
        given = (quality, temperature)
        return math.log(_update(state, cp.QT_INPUTS, given, name, "temperature", temperature)[2] / density)

    brentq(excess, 0.0, 1.0, xtol=1e-9)
    return float(state.p())


@cache
def critical_point(name: str) -> tuple[float, float]:
    """Return critical temperature [K] and pressure [Pa].

    Raises
    ------
    InputError : unknown fluid, or a blend whose critical point CoolProp cannot find

    >>> [round(x, 2) for x in critical_point("R744")]
    [304.13, 7377298.37]
    """
    state = _state(name)
    try:
        return float(state.T_critical()), float(state.p_critical())
    except ValueError as error:
        raise InputError(
            [Problem("refrigerant", repr(name), "another", f"No critical point found: {error}.")]
        ) from error


@cache
def _coolprop() -> Any:
    from CoolProp import CoolProp

    return CoolProp


def _state(name: str) -> Any:
    """The open fluid; each thread has its own, for a state holds its last inputs."""
    return _opened(name, threading.get_ident())


@lru_cache(maxsize=64)
def _opened(name: str, thread: int) -> Any:
    """Open a fluid: blends by their composition, everything else as one substance."""
    plain = name.strip()
    if plain[:2].casefold() == "r-" or plain[:1] == "r":
        plain = "R" + plain[1:].removeprefix("-")
    for candidate in (f"{plain}.mix", plain, f"{plain.upper()}.mix", plain.upper()):
        try:
            return _coolprop().AbstractState("HEOS", candidate)
        except ValueError:
            continue
    says = "No equation of state for this refrigerant."
    raise InputError(
        [Problem("refrigerant", repr(name), "a designation of ASHRAE Standard 34 that CoolProp holds", says)]
    )


def _is_above(name: str, field: str, value: float) -> bool:
    try:
        t, p = critical_point(name)
    except InputError:  # some blends; the equation of state then fails by itself, and the error says so
        return False
    return value >= (t if field == "temperature" else p)


def _supercritical(name: str, field: str, value: float) -> InputError:
    t, p = critical_point(name)
    limit = f"below {t:.2f} K" if field == "temperature" else f"below {p:.0f} Pa"
    says = f"{name} is supercritical there: liquid and vapour are one, and no saturation exists."
    return InputError([Problem(field, repr(value), limit, says)])


def _update(
    state: Any, pair: int, given: tuple[float, float], name: str, field: str, value: float
) -> tuple[float, float, float]:
    """Pressure, temperature and density at a pair of inputs, or what is wrong with them."""
    try:
        state.update(pair, *given)
        return float(state.p()), float(state.T()), float(state.rhomass())
    except ValueError as error:
        says = f"{name} has no such state in its equation of state ({error})."
        raise InputError([Problem(field, repr(value), "the range of the equation of state", says)]) from error
