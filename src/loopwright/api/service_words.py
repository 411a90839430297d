"""Results of service as words: a value with its expanded uncertainty, in the language spoken."""

from __future__ import annotations

import math

from loopwright.language import decimal, decimal_mark
from loopwright.quantities import from_si
from loopwright.service.uncertain import Uncertain

__all__ = ["COVERAGE", "amount"]

COVERAGE = 2.0  # expanded uncertainty, about 95 %


def amount(value: Uncertain, kind: str, unit: str) -> str:
    """Write a value with its expanded uncertainty (two sigma), both to the same place, two figures of uncertainty.

    >>> amount(Uncertain(0.03931, 0.00072), "mass", "g"), amount(Uncertain(295.15, 0.3), "temperature", "°C")
    ('39.3 ± 1.4 g', '22.00 ± 0.60 °C')
    """
    if kind == "number":
        middle, half = value.value, COVERAGE * value.sigma
    else:
        middle = from_si(value.value, kind, unit)  # type: ignore[arg-type]
        half = abs(from_si(value.value + COVERAGE * value.sigma, kind, unit) - middle)  # type: ignore[arg-type]
    if half <= 1e-9 * abs(middle):
        return f"{_figures(middle)} {unit}".rstrip()
    places = 1 - math.floor(math.log10(half))  # below zero: both end in zeros
    shown = max(places, 0)
    return f"{decimal(round(middle, places), shown)} ± {decimal(round(half, places), shown)} {unit}".rstrip()


def _figures(value: float) -> str:
    """Write an exact value with four figures, or all of its whole digits."""
    return (f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:.4g}").replace(".", decimal_mark())
