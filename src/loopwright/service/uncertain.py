"""A value with its standard uncertainty, and how uncertainty passes through a formula.

Method: JCGM 100:2008 (first order, independent inputs) and, where a formula bends too much for that, JCGM 101:2008
(propagation of distributions by drawing).
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import NormalDist, fmean, stdev

from loopwright.errors import InputError, Problem
from loopwright.language import say

__all__ = ["NONE", "Drawn", "Uncertain", "budget", "from_limits", "propagate", "simulate", "total"]

_UNIT_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Uncertain:
    """A value and its standard uncertainty `sigma`, both in the same SI unit; sigma zero is exact.

    Raises
    ------
    InputError : sigma is negative, or either is not finite

    >>> Uncertain(10.0, 0.2).interval(0.95)
    (9.61, 10.39)
    """

    value: float
    sigma: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no measurement."""
        if not (math.isfinite(self.value) and math.isfinite(self.sigma) and self.sigma >= 0.0):
            found = say("{value!r} with sigma {sigma!r}", value=self.value, sigma=self.sigma)
            raise InputError(
                [Problem("value", found, say("finite numbers, sigma not negative"), say("Not a measurement."))]
            )

    def interval(self, level: float) -> tuple[float, float]:
        """Return the interval that holds the value with probability `level` (normal), rounded to 2 figures of sigma."""
        half = _UNIT_NORMAL.inv_cdf(0.5 + 0.5 * level) * self.sigma
        places = 12 if half == 0.0 else 1 - math.floor(math.log10(half))
        return round(self.value - half, places), round(self.value + half, places)

    def probability_above(self, limit: float) -> float:
        """Return the probability that the value lies above a limit (normal).

        >>> round(Uncertain(10.0, 1.0).probability_above(8.36), 2)
        0.95
        """
        if self.sigma == 0.0:
            return float(self.value > limit)
        return _UNIT_NORMAL.cdf((self.value - limit) / self.sigma)


NONE = Uncertain(0.0)
"""Nothing, exactly."""


def from_limits(value: float, half_width: float) -> Uncertain:
    """Return a value known only to lie within a half-width of its own unit: sigma = half-width / sqrt(3).

    Source: JCGM 100:2008, 4.3.7 (rectangular distribution).

    >>> round(from_limits(500.0, 15.0).sigma, 2)
    8.66
    """
    return Uncertain(value, abs(half_width) / math.sqrt(3.0))


def budget(function: Callable[..., float], *inputs: Uncertain) -> tuple[float, ...]:
    """Return what each input's uncertainty does to the result, signed, in the result's unit.

    Half the difference between the result one sigma up and one sigma down: JCGM 100:2008, 5.1.3, note 2.

    >>> budget(lambda a, b: a * b, Uncertain(2.0, 0.1), Uncertain(5.0, 0.2))
    (0.5, 0.4)
    """
    at = [x.value for x in inputs]

    def moved(i: int, by: float) -> float:
        return function(*(v + by if j == i else v for j, v in enumerate(at)))

    return tuple(
        round(0.5 * (moved(i, x.sigma) - moved(i, -x.sigma)), 15) if x.sigma else 0.0 for i, x in enumerate(inputs)
    )


def propagate(function: Callable[..., float], *inputs: Uncertain) -> Uncertain:
    """Return a function's value at independent inputs, with its first-order standard uncertainty.

    Parameters
    ----------
    function : of as many floats as there are inputs; smooth over one sigma either way
    inputs : independent of each other; a quantity that enters twice must be one input

    >>> r = propagate(lambda bore, length: bore * length, Uncertain(3.0, 0.3), Uncertain(2.0, 0.2))
    >>> round(r.value, 6), round(r.sigma, 6)
    (6.0, 0.848528)
    """
    return Uncertain(function(*(x.value for x in inputs)), math.hypot(*budget(function, *inputs)))


def total(*parts: Uncertain) -> Uncertain:
    """Return the sum of independent values.

    >>> total(Uncertain(1.0, 3.0), Uncertain(2.0, 4.0))
    Uncertain(value=3.0, sigma=5.0)
    """
    return Uncertain(sum(p.value for p in parts), math.hypot(*(p.sigma for p in parts)))


@dataclass(frozen=True, slots=True)
class Drawn:
    """What drawing gave: mean with standard deviation, and the interval that holds 95 of 100 draws."""

    mean: Uncertain
    low: float
    high: float


def simulate(function: Callable[..., float], inputs: Sequence[Uncertain], draws: int = 400, seed: int = 0) -> Drawn:
    """Propagate distributions by drawing: for formulas that bend over one sigma. Inputs are taken as normal.

    Parameters: as `propagate`; `draws` is how many; `seed` makes the result repeatable. Source: JCGM 101:2008, 5.9.

    >>> d = simulate(lambda x: x * x, [Uncertain(3.0, 0.1)], draws=2000)
    >>> abs(d.mean.value - 9.01) < 0.05, abs(d.mean.sigma - 0.6) < 0.05
    (True, True)
    """
    rng = random.Random(seed)
    results = sorted(function(*(rng.gauss(x.value, x.sigma) for x in inputs)) for _ in range(draws))
    cut = round(0.025 * draws)
    return Drawn(Uncertain(fmean(results), stdev(results)), results[cut], results[-1 - cut])
