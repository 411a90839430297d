"""Standing test for foreign gas: pressure above saturation after a soak, in a stored cylinder or in a vehicle."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cache
from typing import Literal

from loopwright.cards import load_all
from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.service.properties import (
    GAS_CONSTANT,
    designation,
    liquid_density,
    molar_mass,
    saturation_pressure,
    vapour_density,
)
from loopwright.service.uncertain import Uncertain, budget, propagate

__all__ = [
    "ForeignGas",
    "Limit",
    "Soak",
    "foreign_gas_mass",
    "judge_foreign_gas",
    "limit_excess",
    "liquid_present",
    "soak_faults",
]

PSI = 6894.757293168  # Pa
SEA_LEVEL = 101325.0  # Pa, what the published gauge tables are read against
SOAK_HOURS, SOAK_TEMPERATURE = 12.0, 291.45  # J1989 5: 12 h at 18.3 °C (65 °F) or more
EVEN = 1.0  # K: places further apart than this are no soak (18 kPa of R-134a, half of the limit)
BELOW = 3.0  # sigma under saturation from which a reading contradicts liquid at that temperature
SURE = 0.95  # probability from which the test passes or fails


@dataclass(frozen=True)
class Limit:
    """Published or recalled limits of a stored refrigerant, as printed, and the excess where the table has no row."""

    id: str
    source: tuple[str, ...]
    excess_psi: float = field(metadata={"unit": "psi", "low": 1.0, "high": 20.0})
    temperature_f: tuple[float, ...] = field(metadata={"unit": "°F", "low": 30.0, "high": 150.0})
    limit_psig: tuple[float, ...] = field(metadata={"unit": "psi", "low": 10.0, "high": 400.0})


@dataclass(frozen=True)
class Soak:
    """How vehicle or cylinder stood before the reading.

    `hours` without work or heating; `coldest` and `warmest` of the places measured [K] (the least of the soak for
    `coldest`); `in_sun`; `liquid` whether liquid is surely present, None where nobody knows; `equalised` whether both
    sides of a vehicle show one pressure.
    """

    hours: float
    coldest: float
    warmest: float
    in_sun: bool = False
    liquid: bool | None = None
    equalised: bool = True


@dataclass(frozen=True)
class ForeignGas:
    """What a standing test says.

    `partial_pressure` of what is no refrigerant [Pa] with its `shares` [Pa, one sigma each] of gauge, barometer and
    thermometer; `limit` [Pa above saturation]; `above` the probability that it is exceeded; `mass` [kg] of it if it is
    air and the volume is known, and `parts` by mass of the contents; `reasons` where there is no conclusion.
    """

    verdict: Literal["pass", "fail", "cannot_tell", "no_conclusion"]
    partial_pressure: Uncertain
    shares: tuple[float, float, float]
    limit: float
    above: float
    reasons: tuple[str, ...]
    mass: Uncertain | None = None
    parts: Uncertain | None = None


@cache
def _limits() -> dict[str, Limit]:
    return load_all("loopwright.service", "cards/stored_gas", Limit)


def limit_of(refrigerant: str) -> Limit:
    """Return the card of limits of a refrigerant.

    Raises
    ------
    InputError : none for it

    >>> limit_of("R-12").source
    ('cfr-40-82-b-app-a',)
    """
    found = _limits().get(designation(refrigerant))
    if found is None:
        says = say("No limit of foreign gas for this refrigerant.")
        raise InputError([Problem("refrigerant", repr(refrigerant), ", ".join(_limits()), says)])
    return found


def limit_excess(refrigerant: str, temperature: float) -> float:
    """Return the pressure above saturation [Pa] that a stored refrigerant may show at a temperature [K].

    The printed gauge table, straight between its rows, less saturation; outside the table its usual excess. R-12 is the
    published table (SAE J1989 in 40 CFR 82 Subpart B App. A), R-134a is recalled, the others go by analogy.

    Raises
    ------
    InputError : no limit for the refrigerant

    >>> round(limit_excess("R12", 295.372) / 6894.757, 1)
    10.3
    """
    card = limit_of(refrigerant)
    F = (temperature - 273.15) * 9.0 / 5.0 + 32.0
    table = card.temperature_f
    if not table or not table[0] - 1e-6 <= F <= table[-1] + 1e-6:
        return card.excess_psi * PSI
    i = min(max(sum(f <= F for f in table), 1), len(table) - 1)
    share = (F - table[i - 1]) / (table[i] - table[i - 1])
    printed = card.limit_psig[i - 1] + share * (card.limit_psig[i] - card.limit_psig[i - 1])
    return SEA_LEVEL + printed * PSI - saturation_pressure(refrigerant, temperature)


def soak_faults(kind: Literal["vehicle", "cylinder"], soak: Soak) -> tuple[str, ...]:
    """Return why a soak allows no conclusion, in plain sentences; empty when it does.

    Source: SAE J1989 section 5 for cylinders; for vehicles common practice: liquid present, pressures equal, one
    temperature everywhere.

    >>> soak_faults("cylinder", Soak(14.0, 292.0, 292.5, liquid=True))
    ()
    """
    faults = []
    if soak.liquid is None:
        faults.append(
            say("It is not known whether liquid is present; vapour alone has no saturation pressure to compare.")
        )
    elif not soak.liquid:
        faults.append(say("No liquid is present: the pressure then follows the mass, not the temperature."))
    if soak.warmest - soak.coldest > EVEN:
        apart = soak.warmest - soak.coldest
        faults.append(
            say("The soak is uneven: places differ by {apart:.1f} K, {most:.0f} K is the most.", apart=apart, most=EVEN)
        )
    if soak.in_sun:
        faults.append(say("It stood in the sun: contents and thermometer differ."))
    if kind == "cylinder" and soak.hours < SOAK_HOURS:
        faults.append(say("It soaked {hours:g} h; a cylinder needs {least:.0f} h.", hours=soak.hours, least=SOAK_HOURS))
    if kind == "cylinder" and soak.coldest < SOAK_TEMPERATURE:
        faults.append(
            say(
                "It was at {coldest:.1f} °C; a cylinder soaks at 18.3 °C (65 °F) or more.",
                coldest=soak.coldest - 273.15,
            )
        )
    if kind == "vehicle" and not soak.equalised:
        faults.append(say("The two sides differ: pressures have not equalised, or a gauge is wrong."))
    return tuple(faults)


def judge_foreign_gas(
    refrigerant: str,
    kind: Literal["vehicle", "cylinder"],
    pressure: Uncertain,
    barometer_sigma: float,
    temperature: Uncertain,
    soak: Soak,
    volume: Uncertain | None = None,
    contents: Uncertain | None = None,
) -> ForeignGas:
    """Judge a standing pressure.

    Parameters
    ----------
    refrigerant : as identified: pressure cannot tell R-134a from R-1234yf (less than 3 % apart from 25 to 55 °C)
    pressure : absolute [Pa], gauge reading plus local atmosphere, with the gauge's uncertainty alone
    barometer_sigma : of the local atmosphere [Pa]; 0 for a gauge that reads absolute pressure
    temperature : of the contents after the soak [K]
    soak : how it stood
    volume, contents : inner volume [m3] and refrigerant in it [kg], for the mass of foreign gas

    Dissolved gas is left out, so the mass is the least. Source: SAE J1989 section 5 (cylinders); saturation: CoolProp.

    Raises
    ------
    InputError : unknown refrigerant, or none with a limit

    >>> soak = Soak(14.0, 294.0, 294.4, liquid=True)
    >>> g = judge_foreign_gas("R134a", "cylinder", Uncertain(700e3, 3e3), 300.0, Uncertain(294.15, 0.3), soak)
    >>> g.verdict, round(g.partial_pressure.value / 1e3), round(g.partial_pressure.sigma / 1e3)
    ('fail', 110, 6)
    """

    def excess(p: float, weather: float, T: float) -> float:
        return p + weather - saturation_pressure(refrigerant, T)

    inputs = (pressure, Uncertain(0.0, barometer_sigma), temperature)
    shares = budget(excess, *inputs)
    partial = propagate(excess, *inputs)
    limit = limit_excess(refrigerant, temperature.value)
    above = partial.probability_above(limit)
    reasons = soak_faults(kind, soak)
    if partial.value < -BELOW * partial.sigma:
        reasons = (
            *reasons,
            say("It reads below saturation: no liquid, another refrigerant, or an instrument is wrong."),
        )
    mass = parts = None
    if volume is not None and contents is not None and soak.liquid:
        mass = _mass(refrigerant, partial, temperature, volume, contents)
        parts = propagate(lambda m, M: m / M, mass, contents)
    gauge, weather, thermometer = shares
    return ForeignGas(
        "no_conclusion" if reasons else _verdict(above),
        partial,
        (abs(gauge), abs(weather), abs(thermometer)),
        limit,
        above,
        reasons,
        mass,
        parts,
    )


def _verdict(above: float) -> Literal["pass", "fail", "cannot_tell"]:
    if above >= SURE:
        return "fail"
    return "pass" if above <= 1.0 - SURE else "cannot_tell"


def foreign_gas_mass(
    refrigerant: str, partial_pressure: float, temperature: float, volume: float, contents: float, gas: str = "air"
) -> float:
    """Return the mass [kg] of a foreign gas above the liquid.

    Parameters: partial pressure [Pa], temperature [K], inner volume [m3], refrigerant in it [kg], the gas. Ideal gas in
    the space that the liquid leaves; what is dissolved in the liquid is left out.

    Raises
    ------
    InputError : unknown refrigerant, or the contents leave no liquid or no vapour space

    >>> T, liquid = 294.15, 0.8 * liquid_density("R134a", 294.15)
    >>> m = foreign_gas_mass("R134a", 34473.8, T, 1.0, liquid + 0.2 * vapour_density("R134a", T))
    >>> round(1e6 * m / liquid)
    84
    """
    rho_l, rho_v = liquid_density(refrigerant, temperature), vapour_density(refrigerant, temperature)
    rho = contents / volume
    if not rho_v <= rho <= rho_l:
        allowed = say("{low:.3g} to {high:.3g} kg", low=rho_v * volume, high=rho_l * volume)
        says = say("These contents leave no liquid beside vapour in that volume.")
        raise InputError([Problem("contents", f"{contents:.3g} kg", allowed, says)])
    V_v = volume * (rho_l - rho) / (rho_l - rho_v)
    return partial_pressure * V_v * molar_mass(gas) / (GAS_CONSTANT * temperature)


def liquid_present(refrigerant: str, temperature: float, volume: Uncertain, contents: Uncertain) -> bool | None:
    """Return whether a mass [kg] in a volume [m3] leaves liquid at a temperature [K]; None within two sigma of neither.

    Raises
    ------
    InputError : unknown refrigerant

    >>> liquid_present("R134a", 298.15, Uncertain(2e-3, 2e-4), Uncertain(0.5, 0.05))
    True
    """
    rho_v = vapour_density(refrigerant, temperature)
    beyond = propagate(lambda V, m: m - rho_v * V, volume, contents)
    if abs(beyond.value) <= 2.0 * beyond.sigma:
        return None
    return beyond.value > 0.0


def _mass(
    refrigerant: str, partial: Uncertain, temperature: Uncertain, volume: Uncertain, contents: Uncertain
) -> Uncertain:
    """Mass with its uncertainty; negative partial pressures count as they are, so that noise stays unbiased."""
    at = temperature.value
    low, high = vapour_density(refrigerant, at), liquid_density(refrigerant, at)

    def mass(p: float, V: float, M: float) -> float:
        return foreign_gas_mass(refrigerant, p, at, V, min(max(M, low * V), high * V))

    foreign_gas_mass(refrigerant, partial.value, at, volume.value, contents.value)  # refuses contents that cannot be
    m = propagate(mass, partial, volume, contents)
    return Uncertain(m.value, max(m.sigma, math.ulp(0.0)))
