"""Charging by mass: what to dispense, what then is in, and whether that meets the label."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

from loopwright.language import say
from loopwright.service.hoses import charging_setting
from loopwright.service.uncertain import NONE, Uncertain, from_limits, total

__all__ = ["SCALE_LIMIT", "Charge", "ChargeBand", "Comparison", "compare_band", "compare_charge", "plan_charge"]

SCALE_LIMIT = 0.015  # kg, J2788 9.1: charge within 15 g of the amount chosen


@dataclass(frozen=True)
class Charge:
    """Masses [kg]: the `target` (label, rear system included), the `setting` of the scale, what then is `inside`.

    `tolerance` is the label's half-width, `within` the probability that the charge meets it.
    """

    target: float
    tolerance: float
    setting: Uncertain
    inside: Uncertain
    within: float


@dataclass(frozen=True)
class Comparison:
    """Two charges [kg] beside each other: `difference` inferred minus target, and whether they agree (two sigma)."""

    difference: Uncertain
    agrees: bool


@dataclass(frozen=True)
class ChargeBand:
    """The charge that a performance test tells [kg]: its median, and `low` to `high` with probability `level`.

    Raises
    ------
    InputError : not in that order, below zero, or a level outside 0 to 1
    """

    low: float
    median: float
    high: float
    level: float

    def __post_init__(self) -> None:
        """Refuse what is no interval."""
        if not (0.0 <= self.low <= self.median <= self.high < float("inf") and 0.0 < self.level < 1.0):
            from loopwright.errors import InputError, Problem

            found = f"{self.low:g}, {self.median:g}, {self.high:g} kg, {self.level:g}"
            allowed = say("masses in rising order, and a level between 0 and 1")
            raise InputError([Problem("charge", found, allowed, say("Not an interval of a charge."))])

    def toward(self, target: float) -> Uncertain:
        """The median with the standard uncertainty of the side that a target lies on: such an interval is lopsided.

        >>> band = ChargeBand(0.25, 0.35, 0.79, 0.9)
        >>> round(band.toward(0.8).sigma, 3), round(band.toward(0.2).sigma, 3)
        (0.268, 0.061)
        """
        reach = NormalDist().inv_cdf(0.5 + 0.5 * self.level)
        side = self.high - self.median if target > self.median else self.median - self.low
        return Uncertain(self.median, side / reach)


def plan_charge(
    label: float,
    tolerance: float,
    rear: float = 0.0,
    scale_limit: float = SCALE_LIMIT,
    hoses_at_start: Uncertain = NONE,
    hoses_at_end: Uncertain = NONE,
) -> Charge:
    """Plan a charge.

    Parameters
    ----------
    label : charge on the vehicle's label [kg]; `tolerance` : its half-width [kg]
    rear : what the label adds for a rear evaporator that is fitted and not in `label` [kg]
    scale_limit : half-width of what the scale may be wrong by [kg]; 15 g by SAE J2788
    hoses_at_start, hoses_at_end : what hoses hold when the scale is zeroed and when the couplers are closed [kg]

    Raises
    ------
    InputError : label not above zero, or a tolerance or limit below zero

    >>> c = plan_charge(0.400, 0.020, hoses_at_end=Uncertain(0.039, 0.002))
    >>> round(c.setting.value, 3), round(c.within, 2)
    (0.439, 0.98)
    """
    _check(label, tolerance, rear, scale_limit)
    target = label + rear
    setting = charging_setting(Uncertain(target), hoses_at_start, hoses_at_end)
    inside = total(Uncertain(target, setting.sigma), from_limits(0.0, scale_limit))
    spread = NormalDist(0.0, inside.sigma) if inside.sigma else None
    within = spread.cdf(tolerance) - spread.cdf(-tolerance) if spread else 1.0
    return Charge(target, tolerance, setting, inside, within)


def compare_charge(target: Uncertain, inferred: Uncertain) -> Comparison:
    """Set the charge inferred from a performance test beside a target [kg].

    A test that cannot tell (wide interval) agrees with much: agreement is no proof of the right charge.

    >>> compare_charge(Uncertain(0.5, 0.01), Uncertain(0.42, 0.06)).agrees
    True
    """
    difference = total(inferred, Uncertain(-target.value, target.sigma))
    return Comparison(difference, abs(difference.value) <= 2.0 * difference.sigma)


def compare_band(target: Uncertain, band: ChargeBand) -> Comparison:
    """Set the charge that a judgement tells beside a target [kg]; as `compare_charge`, with a lopsided interval.

    >>> compare_band(Uncertain(0.8, 0.01), ChargeBand(0.25, 0.35, 0.79, 0.9)).agrees
    True
    """
    return compare_charge(target, band.toward(target.value))


def _check(label: float, tolerance: float, rear: float, scale_limit: float) -> None:
    from loopwright.errors import InputError, Problem

    problems = [] if label > 0.0 else [Problem("label", f"{label:g} kg", say("above zero"), say("Not a charge."))]
    for field, x in (("tolerance", tolerance), ("rear", rear), ("scale_limit", scale_limit)):
        if x < 0.0:
            problems.append(Problem(field, f"{x:g} kg", say("zero or more"), say("Not a mass.")))
    if problems:
        raise InputError(problems)
