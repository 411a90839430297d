"""What hoses and manifold hold, what a charge must make up for them, and what taking them off loses."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.service.properties import liquid_density, saturation_pressure, vapour_density
from loopwright.service.uncertain import NONE, Uncertain, propagate, total

__all__ = ["Phase", "Trapped", "charging_setting", "disconnection_loss", "hose_volume", "trapped_mass"]

Phase = Literal["liquid", "vapour"]


@dataclass(frozen=True)
class Trapped:
    """Refrigerant in a hose: mass [kg], the volume it fills [m3], its density [kg/m3], and the phase assumed."""

    mass: Uncertain
    volume: Uncertain
    density: Uncertain
    phase: Phase


def hose_volume(bore: float, length: float) -> float:
    """Return the volume [m3] inside a hose of a bore [m] and length [m], unstretched.

    >>> round(hose_volume(4.8e-3, 1.8) * 1e6, 1)
    32.6
    """
    d, L = bore, length
    return math.pi / 4.0 * d * d * L


def trapped_mass(
    refrigerant: str,
    bore: Uncertain,
    length: Uncertain,
    phase: Phase,
    temperature: Uncertain,
    pressure: Uncertain | None = None,
    manifold_volume: Uncertain = NONE,
) -> Trapped:
    """Return the refrigerant that a hose, with its share of the manifold, holds.

    Parameters
    ----------
    refrigerant : designation of ASHRAE Standard 34
    bore, length : of the hose [m]; zero length for a volume given alone
    phase : "liquid" fills it whole (saturated at the temperature); "vapour" at the pressure given, or saturated
    temperature : of the refrigerant in the hose [K]
    pressure : absolute [Pa]; needed for superheated vapour, and checked against the phase
    manifold_volume : further volume at the same state [m3]

    Liquid under pressure is up to 1 % denser than at saturation, which is left out. Oil in the hose is left out.
    Source: geometry times density by the equation of state (CoolProp).

    Raises
    ------
    InputError : unknown refrigerant, a size not above zero, or a pressure at which the phase cannot exist

    >>> t = trapped_mass("R134a", Uncertain(4.8e-3), Uncertain(1.8), "liquid", Uncertain(298.15, 2.0))
    >>> round(t.mass.value * 1e3, 2), round(t.mass.sigma * 1e3, 2)
    (39.31, 0.25)
    """
    _check_sizes(bore, length, manifold_volume)
    _check_phase(refrigerant, phase, temperature, pressure)
    density = _density(refrigerant, phase, temperature, pressure)
    volume = total(propagate(hose_volume, bore, length), manifold_volume)
    return Trapped(propagate(lambda V, rho: V * rho, volume, density), volume, density, phase)


def charging_setting(target: Uncertain, at_start: Uncertain, at_end: Uncertain) -> Uncertain:
    """Return the mass [kg] to dispense so that the vehicle receives its target, with hoses that fill or empty.

    Parameters
    ----------
    target : mass that the vehicle shall receive [kg]
    at_start : what the hoses hold when the scale is set to zero [kg]; nothing after a common evacuation
    at_end : what they still hold when the coupler valves are closed [kg]

    >>> charging_setting(Uncertain(0.5), Uncertain(0.0), Uncertain(0.039, 0.002))
    Uncertain(value=0.539, sigma=0.002)
    """
    return total(target, at_end, Uncertain(-at_start.value, at_start.sigma))


def disconnection_loss(
    refrigerant: str,
    coupler_closed: bool,
    coupler_volume: Uncertain,
    open_volume: Uncertain,
    phase: Phase,
    temperature: Uncertain,
    pressure: Uncertain | None = None,
) -> Uncertain:
    """Return the mass [kg] that escapes when a service hose is taken off.

    Parameters
    ----------
    coupler_closed : whether the coupler's valve is closed first; then only the coupler's dead volume is lost
    coupler_volume : dead volume of the coupler [m3]
    open_volume : hose and manifold that empty through an open coupler [m3]
    phase, temperature, pressure : of what is in them, as for `trapped_mass`

    With the coupler open this is the least: a vehicle's valve that seals late or badly loses more. Source: common
    practice, no source, for what is lost; volume times density (CoolProp) for how much.

    Raises
    ------
    InputError : as `trapped_mass`

    >>> args = dict(coupler_volume=Uncertain(1e-6), open_volume=Uncertain(33e-6), phase="vapour",
    ...     temperature=Uncertain(288.15), pressure=Uncertain(300e3))
    >>> [round(disconnection_loss("R134a", shut, **args).value * 1e3, 3) for shut in (True, False)]
    [0.014, 0.468]
    """
    volume = coupler_volume if coupler_closed else total(coupler_volume, open_volume)
    return trapped_mass(refrigerant, Uncertain(0.0), Uncertain(0.0), phase, temperature, pressure, volume).mass


def _density(refrigerant: str, phase: Phase, temperature: Uncertain, pressure: Uncertain | None) -> Uncertain:
    if phase == "liquid":
        return propagate(lambda T: liquid_density(refrigerant, T), temperature)
    if pressure is None:
        return propagate(lambda T: vapour_density(refrigerant, T), temperature)
    return propagate(lambda T, p: vapour_density(refrigerant, T, p), temperature, pressure)


def _check_sizes(bore: Uncertain, length: Uncertain, manifold_volume: Uncertain) -> None:
    problems = [
        Problem(field, repr(x.value), say("zero or more"), say("Not a size."))
        for field, x in (("bore", bore), ("length", length), ("manifold_volume", manifold_volume))
        if x.value < 0.0
    ]
    if not problems and bore.value * length.value + manifold_volume.value == 0.0:
        problems.append(
            Problem("length", say("no volume"), say("a hose or a volume"), say("Nothing that could hold refrigerant."))
        )
    if problems:
        raise InputError(problems)


def _check_phase(refrigerant: str, phase: Phase, temperature: Uncertain, pressure: Uncertain | None) -> None:
    """Refuse a reading that lies beyond saturation on the wrong side by more than two sigma."""
    if pressure is None:
        return
    try:
        saturated = propagate(lambda T: saturation_pressure(refrigerant, T), temperature)
    except InputError:
        if phase == "liquid":
            raise
        return  # above the critical temperature everything is gas
    slack = 2.0 * math.hypot(pressure.sigma, saturated.sigma) + 1e-3 * saturated.value
    excess = pressure.value - saturated.value
    if (excess > slack) if phase == "vapour" else (excess < -slack):
        if phase == "vapour":
            allowed = say("at most {limit:.0f} Pa there", limit=saturated.value)
            says = say("At that temperature and pressure it is liquid, not vapour.")
        else:
            allowed = say("at least {limit:.0f} Pa there", limit=saturated.value)
            says = say("At that temperature and pressure it is vapour, not liquid.")
        raise InputError([Problem("pressure", f"{pressure.value:.0f} Pa", allowed, says)])
