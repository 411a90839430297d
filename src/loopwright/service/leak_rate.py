"""Leak rates in the units that detectors, standards and gauges use, at a stated gas and temperature."""

from __future__ import annotations

from loopwright.service.properties import GAS_CONSTANT, molar_mass, vapour_viscosity

__all__ = [
    "OUNCE",
    "YEAR",
    "equivalent_leak",
    "mass_rate",
    "per_year",
    "throughput",
]

YEAR = 3.15576e7  # s, a Julian year
OUNCE = 0.45359237 / 16.0  # kg, avoirdupois, exact
ATMOSPHERE = 101325.0  # Pa


def mass_rate(throughput: float, temperature: float, gas: str) -> float:
    """Return the mass flow [kg/s] of a gas that leaks with a throughput [Pa m3/s] stated at a temperature [K].

    Source: ideal gas law, m = Q M / (R T). 1 Pa m3/s is 10 mbar L/s.

    Raises
    ------
    InputError : unknown gas or refrigerant

    >>> round(per_year(mass_rate(1e-6, 293.15, "R134a")) * 1e3, 3)
    1.321
    """
    Q, T, M = throughput, temperature, molar_mass(gas)
    return Q * M / (GAS_CONSTANT * T)


def throughput(mass_rate: float, temperature: float, gas: str) -> float:
    """Return the throughput [Pa m3/s] at a temperature [K] of a mass flow [kg/s]; the inverse of `mass_rate`.

    Raises
    ------
    InputError : unknown gas or refrigerant

    >>> float(f"{throughput(0.040 / YEAR, 293.15, 'R134a'):.2e}")
    3.03e-05
    """
    m, T, M = mass_rate, temperature, molar_mass(gas)
    return m * GAS_CONSTANT * T / M


def per_year(mass_rate: float) -> float:
    """Return a mass flow [kg/s] as kilograms a year.

    >>> round(per_year(1e-9) * 1e3, 2)
    31.56
    """
    return mass_rate * YEAR


def equivalent_leak(
    throughput: float,
    gas: str,
    inside: float,
    outside: float,
    other_gas: str,
    other_inside: float,
    other_outside: float,
    temperature: float,
) -> float:
    """Return the throughput [Pa m3/s] that the same hole passes with another gas between other pressures.

    Parameters
    ----------
    throughput : of the first gas [Pa m3/s]
    gas, inside, outside : the first gas and its pressures on both sides [Pa, absolute]
    other_gas, other_inside, other_outside : what it is compared with
    temperature : of both [K]

    The higher pressure of a pair is upstream; a hole leaks inwards as outwards. Order of magnitude only: laminar flow,
    Q in proportion to (p1^2 - p2^2) / viscosity. Source: Poiseuille's law for an isothermal gas.

    Raises
    ------
    InputError : unknown gas or refrigerant

    >>> air = equivalent_leak(3.08e-5, "R134a", 650e3, 101325.0, "air", 101325.0, 0.0, 298.15)
    >>> float(f"{air:.1e}")
    4.9e-07
    """
    mu, mu_other = vapour_viscosity(gas, temperature), vapour_viscosity(other_gas, temperature)
    drive = abs(inside * inside - outside * outside)
    other_drive = abs(other_inside * other_inside - other_outside * other_outside)
    return throughput * other_drive / drive * mu / mu_other
