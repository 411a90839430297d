"""What service needs to know of a fluid, by name, for one call at a time; through `fluids`, imported when asked for."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache, lru_cache

from loopwright.cards import load_all
from loopwright.errors import InputError, Problem
from loopwright.language import say

__all__ = [
    "GAS_CONSTANT",
    "Gas",
    "designation",
    "full_temperature",
    "gas",
    "liquid_density",
    "molar_mass",
    "saturation_pressure",
    "vapour_density",
    "vapour_viscosity",
    "vessel_pressure",
    "water_pressure",
]

GAS_CONSTANT = 8.31446261815324  # J/(mol K), exact since the SI of 2019
_UNIT_VOLUME = 1.0  # m3: densities are asked for as the mass in one cubic metre
_COLDEST_WATER = 273.16  # K, triple point: below it water is ice


@dataclass(frozen=True)
class Gas:
    """A gas that service meets and the loop does not: molar mass, and viscosity at 25 °C and low pressure."""

    id: str
    source: tuple[str, ...]
    name: str
    molar_mass_kg_mol: float = field(metadata={"unit": "kg/mol", "low": 0.002, "high": 0.5})
    viscosity_pa_s: float = field(metadata={"unit": "Pa s", "low": 5e-6, "high": 5e-5})


@cache
def _gases() -> dict[str, Gas]:
    return load_all("loopwright.service", "cards/gases", Gas)


def designation(name: str) -> str:
    """Return a refrigerant's designation of ASHRAE Standard 34, spelt as in this package, without a hyphen.

    >>> designation("r-134A"), designation(" R1234YF "), designation("R-744")
    ('R134a', 'R1234yf', 'R744')
    """
    plain = name.strip().replace("-", "").replace(" ", "")
    body = plain[1:] if plain[:1] in "Rr" else plain
    digits = body.rstrip("ABCDEFYZabcdefyz")
    tail = body[len(digits) :]
    return f"R{digits}{tail.upper() if digits[:1] == '4' else tail.lower()}"


def gas(name: str) -> Gas:
    """Return a gas by its name ("air", "nitrogen", "helium", "R744").

    Raises
    ------
    InputError : no card for it

    >>> gas("nitrogen").molar_mass_kg_mol
    0.02801348
    """
    found = _gases().get(name.strip().casefold()) or _gases().get(designation(name).casefold())
    if found is None:
        raise InputError([Problem("gas", repr(name), ", ".join(_gases()), say("No such gas."))])
    return found


@cache
def molar_mass(name: str) -> float:
    """Molar mass [kg/mol] of a refrigerant or gas.

    Raises
    ------
    InputError : neither a refrigerant of the loop nor a gas with a card

    >>> round(molar_mass("R-134a"), 6), molar_mass("helium")
    (0.102032, 0.004002602)
    """
    from loopwright.fluids import LOOP_REFRIGERANTS, card

    if (spelt := designation(name)) in LOOP_REFRIGERANTS:
        return card(spelt).molar_mass_kg_mol
    return gas(name).molar_mass_kg_mol


@lru_cache(maxsize=256)
def vapour_viscosity(name: str, temperature: float) -> float:
    """Viscosity [Pa s] of saturated vapour of a loop refrigerant at a temperature [K]; of a gas, at 25 °C.

    Raises
    ------
    InputError : neither

    >>> round(vapour_viscosity("R134a", 298.15) * 1e6, 2), round(vapour_viscosity("air", 298.15) * 1e6, 2)
    (11.69, 18.45)
    """
    from loopwright.fluids import LOOP_REFRIGERANTS, refrigerant
    from loopwright.fluids.refrigerants import saturation

    if (spelt := designation(name)) in LOOP_REFRIGERANTS:
        return float(saturation(refrigerant(spelt), temperature).mu_v)
    return gas(name).viscosity_pa_s


def saturation_pressure(refrigerant: str, temperature: float) -> float:
    """Saturation pressure [Pa] at a temperature [K]; of a blend, that of its liquid.

    Raises
    ------
    InputError : unknown refrigerant, or no liquid at that temperature

    >>> round(saturation_pressure("R-134a", 298.15))
    665381
    """
    from loopwright.fluids.saturated import saturated_pressures

    return saturated_pressures(designation(refrigerant), temperature).bubble


def liquid_density(refrigerant: str, temperature: float) -> float:
    """Density [kg/m3] of saturated liquid at a temperature [K].

    Raises
    ------
    InputError : unknown refrigerant, or no liquid at that temperature

    >>> round(liquid_density("R1234yf", 298.15), 1)
    1091.7
    """
    from loopwright.fluids.saturated import saturated_pressures

    return saturated_pressures(designation(refrigerant), temperature).liquid_density


def vapour_density(refrigerant: str, temperature: float, pressure: float | None = None) -> float:
    """Density [kg/m3] of vapour at a temperature [K] and pressure [Pa, absolute]; without a pressure, saturated.

    Real gas: the density whose pressure, by the equation of state, is the one asked for. A pressure above saturation
    counts as saturation, so that one sigma of a gauge may cross it; callers check the reading itself.

    Raises
    ------
    InputError : unknown refrigerant, or outside its equation of state

    >>> round(vapour_density("R134a", 298.15), 2), round(vapour_density("R134a", 288.15, 300e3), 2)
    (32.35, 13.77)
    """
    from scipy.optimize import brentq

    from loopwright.fluids.saturated import critical_point, saturated_pressures, standing_pressure

    name = designation(refrigerant)
    if temperature < critical_point(name)[0]:
        s = saturated_pressures(name, temperature)
        if pressure is None or pressure >= s.dew:
            return s.vapour_density
        most = s.vapour_density
    elif pressure is None:
        says = say("Above its critical temperature: vapour density needs a pressure.")
        raise InputError([Problem("pressure", say("nothing"), say("a pressure"), says)])
    else:
        most = 1000.0
    ideal = pressure * molar_mass(name) / (GAS_CONSTANT * temperature)

    def excess(density: float) -> float:
        return standing_pressure(name, temperature, density * _UNIT_VOLUME, _UNIT_VOLUME) - pressure

    return float(brentq(excess, min(0.5 * ideal, 0.5 * most), most, rtol=1e-9))


def full_temperature(refrigerant: str, density: float) -> float | None:
    """Temperature [K] at which a vessel of a mean density [kg/m3] is full of liquid; None if none from -40 °C on.

    Raises
    ------
    InputError : unknown refrigerant

    >>> round(full_temperature("R134a", 977.0) - 273.15, 1)
    73.1
    """
    from scipy.optimize import brentq

    from loopwright.fluids.saturated import critical_point

    low, high = 233.15, critical_point(designation(refrigerant))[0] - 0.5

    def room(temperature: float) -> float:
        return liquid_density(refrigerant, temperature) - density

    return None if room(low) < 0.0 or room(high) > 0.0 else float(brentq(room, low, high, xtol=1e-4))


def vessel_pressure(refrigerant: str, temperature: float, mass: float, volume: float) -> float:
    """Pressure [Pa, absolute] at rest at a temperature [K] of a mass [kg] in a vessel [m3], liquid-full included.

    Raises
    ------
    InputError : unknown refrigerant, or outside its equation of state

    >>> round(vessel_pressure("R744", 325.15, 6.8, 0.01) / 1e5)
    149
    """
    from loopwright.fluids.saturated import standing_pressure

    return standing_pressure(designation(refrigerant), temperature, mass, volume)


def water_pressure(temperature: float) -> float:
    """Pressure [Pa] at which water boils at a temperature [K]; below 0.01 °C that at which ice sublimes.

    Source: CoolProp (HEOS, IAPWS-95) above the triple point, ASHRAE 2017 ch. 1 eq. 5 below.

    >>> round(water_pressure(293.15)), round(water_pressure(263.15))
    (2339, 260)
    """
    from loopwright.fluids.moist_air import saturation_pressure_water
    from loopwright.fluids.saturated import saturated_pressures

    if temperature < _COLDEST_WATER:
        return float(saturation_pressure_water(temperature))
    return saturated_pressures("Water", temperature).bubble
