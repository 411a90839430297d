"""Nitrogen pressure hold: what temperature does to it, what a drop means, and the smallest leak it could have seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.service.leak_rate import ATMOSPHERE, equivalent_leak, mass_rate
from loopwright.service.uncertain import Uncertain, propagate

__all__ = ["DETECTION", "Hold", "expected_pressure", "judge_hold"]

CLAIM = 1.645  # sigma above nothing at which a leak is claimed: 5 % false claims (Currie 1968)
DETECTION = 3.29  # sigma of a leak that is then missed in 5 % of cases (Currie 1968)
RUNNING_PRESSURE = 650e3  # Pa absolute, what the refrigerant's equivalent is stated at: R-134a standing at 24 °C


def expected_pressure(pressure: float, temperature: float, later_temperature: float) -> float:
    """Return the absolute pressure [Pa] of a tight volume of gas after its temperature [K] changed.

    Source: ideal gas at constant volume, p2 = p1 T2 / T1.

    >>> round((expected_pressure(1101325.0, 295.15, 296.15) - 101325.0) / 1e3, 1)
    1003.7
    """
    p1, T1, T2 = pressure, temperature, later_temperature
    return p1 * T2 / T1


@dataclass(frozen=True)
class Hold:
    """What a hold showed.

    `drop` [Pa] is what temperature does not explain; `leak` [Pa m3/s of nitrogen]; `smallest` the least leak
    [Pa m3/s of nitrogen] that it would have found 19 times in 20; `refrigerant_leak` and `smallest_refrigerant` [kg/s]
    the same hole with refrigerant at `RUNNING_PRESSURE`, an order of magnitude.
    """

    expected: Uncertain
    drop: Uncertain
    leak: Uncertain
    smallest: float
    refrigerant_leak: float
    smallest_refrigerant: float
    verdict: Literal["leak", "no_leak_seen", "rising"]


def judge_hold(
    start: Uncertain,
    end: Uncertain,
    start_temperature: Uncertain,
    end_temperature: Uncertain,
    seconds: float,
    volume: Uncertain,
    refrigerant: str,
) -> Hold:
    """Judge a nitrogen hold.

    Parameters
    ----------
    start, end : absolute pressures [Pa]; sigma is what two readings of one gauge differ by (reading and drift; an
        error of the whole scale cancels)
    start_temperature, end_temperature : of the metal at several places [K]; sigma as two readings differ
    seconds : between the readings
    volume : of the circuit with the hose up to the closed valve [m3]
    refrigerant : for the equivalent leak

    Source: ideal gas; laminar scaling for the equivalent (order of magnitude).

    Raises
    ------
    InputError : no time passed, or no pressure above the atmosphere

    >>> h = judge_hold(Uncertain(1101325.0, 200.0), Uncertain(1101255.0, 200.0), Uncertain(298.15, 0.1),
    ...     Uncertain(298.15, 0.1), 3600.0, Uncertain(3e-3, 3e-4), "R134a")
    >>> h.verdict, round(h.smallest_refrigerant * 3.15576e10, -2)
    ('no_leak_seen', 1100.0)
    """
    _check(start, seconds, volume)
    T = start_temperature.value
    expected = propagate(expected_pressure, start, start_temperature, end_temperature)
    drop = propagate(
        lambda p1, p2, T1, T2: expected_pressure(p1, T1, T2) - p2, start, end, start_temperature, end_temperature
    )
    leak = propagate(lambda dp, V: dp * V / seconds, drop, volume)
    smallest = DETECTION * drop.sigma * volume.value / seconds

    def as_refrigerant(Q: float) -> float:
        other = (refrigerant, RUNNING_PRESSURE, ATMOSPHERE)
        return mass_rate(equivalent_leak(Q, "nitrogen", start.value, ATMOSPHERE, *other, T), T, refrigerant)

    return Hold(
        expected,
        drop,
        leak,
        smallest,
        as_refrigerant(leak.value),
        as_refrigerant(smallest),
        _verdict(drop),
    )


def _verdict(drop: Uncertain) -> Literal["leak", "no_leak_seen", "rising"]:
    if drop.value > CLAIM * drop.sigma:
        return "leak"
    return "rising" if drop.value < -DETECTION * drop.sigma else "no_leak_seen"


def _check(start: Uncertain, seconds: float, volume: Uncertain) -> None:
    problems = []
    if not seconds > 0.0:
        problems.append(Problem("seconds", repr(seconds), say("above zero"), say("No time passed.")))
    if not volume.value > 0.0:
        problems.append(Problem("volume", repr(volume.value), say("above zero"), say("No volume.")))
    if not start.value > 1.2 * ATMOSPHERE:
        says = say("Not above the atmosphere: this is no pressure hold.")
        problems.append(
            Problem("start", f"{start.value:.0f} Pa", say("above {limit:.0f} Pa", limit=1.2 * ATMOSPHERE), says)
        )
    if problems:
        raise InputError(problems)
