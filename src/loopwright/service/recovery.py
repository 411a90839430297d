"""What came out of a vehicle against what should have been in it, and what the difference can say."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.service.uncertain import NONE, Uncertain, from_limits, propagate, total

__all__ = ["DISPLAY_LIMIT", "Recovered", "judge_recovered", "recovery_share", "recovery_target"]

DISPLAY_LIMIT = 0.030  # kg, J2788 7.1.3: displayed recovered mass
RECOVERY_DEPTH = 102.0 * 133.322387415  # Pa below the atmosphere (102 mm Hg)
CLAIM = 1.96  # sigma beyond which a difference is claimed: 5 % of full systems would be called short or over


@dataclass(frozen=True)
class Recovered:
    """What a recovery says: `was_in` and `missing` [kg], `loss_rate` [kg/s] where the last fill's date is known.

    `smallest_rate` [kg/s] is the least mean loss that this weighing would have claimed 19 times in 20.
    """

    was_in: Uncertain
    missing: Uncertain
    verdict: Literal["short", "over", "as_expected"]
    loss_rate: Uncertain | None
    smallest_rate: float | None


def recovery_target(atmosphere: float) -> float:
    """Return the absolute pressure [Pa] to which a vehicle is recovered, at a local atmosphere [Pa].

    Source: 40 CFR 82.156(g), 102 mm Hg below the atmosphere. Recovery is complete when pressure stays away for 5 min
    with the machine off and the vacuum is stable for 2 min (SAE J1989 3.2.1 in App. A).

    >>> round(recovery_target(101325.0))
    87726
    """
    return atmosphere - RECOVERY_DEPTH


def recovery_share(air_temperature: float, equipment: Literal["current", "older"] = "current") -> Uncertain:
    """Return the share of the charge that a machine takes out [0..1], at an air temperature [K].

    Only limits are known, so every share between them counts alike: from 95 % at 21 °C and above, 85 % at 10 to 13 °C
    (SAE J2810 6.1 in App. D), straight between; older machines (of the J2210 era) leave about 18 % at 21 °C and 30 % at
    10 °C (public summary of SAE J2762). Below 10 °C the limit of 10 °C is used: less may come out.

    >>> [round(recovery_share(t).value, 3) for t in (295.15, 284.15)], round(recovery_share(295.15).sigma, 4)
    ([0.975, 0.925], 0.0144)
    """
    warmth = min(max((air_temperature - 286.15) / (294.15 - 286.15), 0.0), 1.0)
    if equipment == "older":
        left = 0.30 - 0.12 * min(max((air_temperature - 283.15) / 11.0, 0.0), 1.0)
        return from_limits(1.0 - left, 0.05)
    least = 0.85 + 0.10 * warmth
    return from_limits(0.5 * (least + 1.0), 0.5 * (1.0 - least))


def judge_recovered(
    displayed: Uncertain,
    expected: Uncertain,
    share: Uncertain,
    hoses: Uncertain = NONE,
    seconds_since_fill: float | None = None,
) -> Recovered:
    """Compare recovered mass with the charge that should have been in.

    Parameters
    ----------
    displayed : mass by the machine [kg]; its limit is 30 g (`DISPLAY_LIMIT`)
    expected : the label's charge, or the mass of the last fill [kg]
    share : of what was in that the machine takes out
    hoses : what the machine took from the hoses beside the vehicle [kg]
    seconds_since_fill : since the charge was surely right [s]; without it no rate can be named

    A rate is a mean: one loss at a joint, a service, or a slow leak all look alike.

    Raises
    ------
    InputError : a mass below zero, or a share not between 0 and 1

    >>> from loopwright.service.leak_rate import YEAR
    >>> r = judge_recovered(from_limits(0.310, DISPLAY_LIMIT), from_limits(0.500, 0.015), recovery_share(295.15),
    ...     seconds_since_fill=2 * YEAR)
    >>> r.verdict, round(r.missing.value * 1e3), round(r.missing.sigma * 1e3), round(r.loss_rate.value * YEAR * 1e3)
    ('short', 182, 20, 91)
    """
    _check(displayed, expected, share)
    was_in = propagate(lambda m, h, eta: (m - h) / eta, displayed, hoses, share)
    missing = total(expected, Uncertain(-was_in.value, was_in.sigma))
    rate = smallest = None
    if seconds_since_fill:
        rate = Uncertain(missing.value / seconds_since_fill, missing.sigma / seconds_since_fill)
        smallest = (CLAIM + 1.645) * missing.sigma / seconds_since_fill
    return Recovered(was_in, missing, _verdict(missing), rate, smallest)


def _verdict(missing: Uncertain) -> Literal["short", "over", "as_expected"]:
    if abs(missing.value) <= CLAIM * missing.sigma:
        return "as_expected"
    return "short" if math.copysign(1.0, missing.value) > 0.0 else "over"


def _check(displayed: Uncertain, expected: Uncertain, share: Uncertain) -> None:
    problems = [
        Problem(field, f"{x.value:g} kg", say("zero or more"), say("Not a mass."))
        for field, x in (("displayed", displayed), ("expected", expected))
        if x.value < 0.0
    ]
    if not 0.0 < share.value <= 1.0:
        problems.append(Problem("share", repr(share.value), say("above 0, at most 1"), say("Not a share.")))
    if problems:
        raise InputError(problems)
