"""Evacuation: what pressure dries the coldest part, how far from it a reading is, how long the pump needs."""

from __future__ import annotations

import math
from dataclasses import dataclass

from loopwright.language import say
from loopwright.service.leak_rate import ATMOSPHERE
from loopwright.service.properties import GAS_CONSTANT, water_pressure
from loopwright.service.uncertain import NONE, Drawn, Uncertain, propagate, simulate

__all__ = [
    "Target",
    "boiling_margin",
    "dissolved_water",
    "evacuation_target",
    "evacuation_time",
    "fill_water",
    "hose_conductance",
]

WATER = 0.01801528  # kg/mol
AIR_VISCOSITY = 18.2e-6  # Pa s, 20 °C
KNUDSEN = 12.1e-3 * 1e4  # m3/s of air at 20 °C per m3 over m: 12.1 L/s for d^3 / L in cm
AIR_LEFT = 0.02  # share of the air that a machine may leave before the charge
DRYING_MARGIN = 2.0  # water must boil with the pump pulling: half its pressure
PRACTICE = 500.0  # Pa, usual at the end of an evacuation on vehicles (memory)
DEEP = 67.0  # Pa, refrigeration practice (memory)


@dataclass(frozen=True)
class Target:
    """Pressures to reach [Pa, absolute], and the one to work to.

    `boiling` is where water boils at the coldest part, `air_free` where 98 % of the air is gone, `practice` and `deep`
    are customary, `target` the lower of `practice` and half of `boiling`; `vacuum` is what a gauge that reads below the
    local atmosphere must show where water just boils.
    """

    boiling: Uncertain
    air_free: Uncertain
    practice: float
    deep: float
    target: Uncertain
    vacuum: Uncertain


def evacuation_target(coldest_temperature: Uncertain, atmosphere: Uncertain) -> Target:
    """Return the pressures that an evacuation must reach.

    Parameters
    ----------
    coldest_temperature : of the coldest part of the circuit [K]
    atmosphere : local, absolute [Pa]

    Source: vapour pressure of water (CoolProp); 98 % of the air (SAE J2788 9.1 in 40 CFR 82 Subpart B App. C); the two
    customary levels are from memory.

    >>> t = evacuation_target(Uncertain(293.15, 1.0), Uncertain(101325.0, 300.0))
    >>> round(t.boiling.value), round(t.air_free.value), round(t.target.value), round(t.vacuum.value / 3386.389, 2)
    (2339, 2026, 500, 29.23)
    """
    boiling = propagate(water_pressure, coldest_temperature)
    half = propagate(lambda T: water_pressure(T) / DRYING_MARGIN, coldest_temperature)
    return Target(
        boiling,
        propagate(lambda p: AIR_LEFT * p, atmosphere),
        PRACTICE,
        DEEP,
        half if half.value < PRACTICE else Uncertain(PRACTICE),
        propagate(lambda p, T: p - water_pressure(T), atmosphere, coldest_temperature),
    )


def boiling_margin(pressure: Uncertain, coldest_temperature: Uncertain) -> Uncertain:
    """Return the water pressure of the coldest part over the pressure reached; above 1 water boils, below it stays.

    Parameters: absolute pressure at the system [Pa]; temperature of the coldest part [K].

    >>> m = boiling_margin(Uncertain(500.0, 20.0), Uncertain(283.15, 1.0))
    >>> round(m.value, 2), round(m.sigma, 2)
    (2.46, 0.19)
    """
    return propagate(lambda p, T: water_pressure(T) / p, pressure, coldest_temperature)


def fill_water(volume: float, temperature: float, relative_humidity: float) -> float:
    """Return the water [kg] in one fill of air of a volume [m3], temperature [K] and relative humidity [0..1].

    Source: ideal gas law with the vapour pressure of water (CoolProp).

    >>> round(fill_water(3e-3, 298.15, 0.6) * 1e6)
    41
    """
    p_w = relative_humidity * water_pressure(temperature)
    return p_w * volume * WATER / (GAS_CONSTANT * temperature)


def dissolved_water(water: float, charge: float) -> float:
    """Return water [kg] as parts per million by mass of a charge [kg].

    >>> round(dissolved_water(41e-6, 0.55))
    75
    """
    return 1e6 * water / charge


def hose_conductance(bore: float, length: float, pressure: float) -> float:
    """Return the conductance [m3/s] of a hose for air at 20 °C and a mean pressure [Pa].

    Parameters: bore d [m], length L [m], mean pressure p [Pa]. Laminar plus molecular flow; valid while flow is slow
    (below some kPa). Source: textbooks of vacuum technology (memory).

    >>> round(hose_conductance(4.8e-3, 1.8, 250.0) * 1e3, 3)
    0.107
    """
    d, L, p = bore, length, pressure
    return math.pi * d**4 * p / (128.0 * AIR_VISCOSITY * L) + KNUDSEN * d**3 / L


def evacuation_time(
    volume: Uncertain,
    pump_speed: Uncertain,
    pump_ultimate: float,
    bore: Uncertain,
    length: Uncertain,
    target: float,
    water: Uncertain = NONE,
    coldest_temperature: float = 293.15,
    start: float = ATMOSPHERE,
    hoses: int = 2,
    draws: int = 200,
) -> Drawn:
    """Predict the time [s] to pump a circuit to a target, and to carry off free water on the way.

    Parameters
    ----------
    volume : circuit [m3]
    pump_speed : rated [m3/s]; `pump_ultimate` : the lowest pressure it reaches [Pa]
    bore, length : of each service hose [m]; `hoses` : how many are open in parallel
    target, start : absolute pressures at the circuit [Pa]; the target lies above `pump_ultimate`
    water : free water to boil off [kg], at the pressure of the coldest part's temperature [K]

    Air leaves at the speed of pump and hose in series; water leaves as vapour at its own pressure. Heat that the water
    needs, and refrigerant out of oil, are left out: both make it longer. Drawn, not linearised: bore counts by its
    fourth power. Source: vacuum technology (memory).

    Raises
    ------
    InputError : the target is not above the pump's lowest pressure

    >>> t = evacuation_time(Uncertain(3e-3), Uncertain(1e-3), 10.0, Uncertain(4.8e-3), Uncertain(1.8), 500.0, draws=3)
    >>> round(t.mean.value)
    31
    """
    _check_target(target, pump_ultimate)
    p_w = water_pressure(coldest_temperature)

    def seconds(V: float, S: float, d: float, L: float, m: float) -> float:
        pumping = _pump_down(
            max(V, 1e-5), max(S, 1e-6), max(d, 5e-4), max(L, 0.05), start, target, pump_ultimate, hoses
        )
        carried = _speed(max(S, 1e-6), max(d, 5e-4), max(L, 0.05), p_w, hoses) * p_w  # Pa m3/s of vapour
        return pumping + max(m, 0.0) / (carried * WATER / (GAS_CONSTANT * coldest_temperature))

    return simulate(seconds, (volume, pump_speed, bore, length, water), draws)


def _speed(S: float, d: float, L: float, p: float, hoses: int) -> float:
    """Pump and hoses in series; the mean pressure in a hose is half of that at the circuit."""
    return 1.0 / (1.0 / S + 1.0 / (hoses * hose_conductance(d, L, 0.5 * p)))


def _pump_down(
    V: float, S: float, d: float, L: float, start: float, target: float, ultimate: float, hoses: int
) -> float:
    """Integrate V dp/dt = -S (p - ultimate) in steps of the logarithm."""
    steps = 60
    ratio = ((target - ultimate) / (start - ultimate)) ** (1.0 / steps)
    time, excess = 0.0, start - ultimate
    for _ in range(steps):
        middle = excess * math.sqrt(ratio) + ultimate
        time += -math.log(ratio) * V / _speed(S, d, L, middle, hoses)
        excess *= ratio
    return time


def _check_target(target: float, ultimate: float) -> None:
    from loopwright.errors import InputError, Problem

    if not target > ultimate:
        says = say("The pump cannot reach this.")
        raise InputError([Problem("target", f"{target:g} Pa", say("above {limit:g} Pa", limit=ultimate), says)])
