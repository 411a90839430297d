"""Masses in the words that the ledger's sentences use."""

from __future__ import annotations

from loopwright.language import decimal_mark
from loopwright.ledger.values import Balance

__all__ = ["grams", "held"]


def grams(mass_mg: float) -> str:
    """Write a mass in grams, to a tenth below a kilogram.

    >>> grams(480_000), grams(12_345_678), grams(-15)
    ('480.0 g', '12346 g', '-0.0 g')
    """
    value = mass_mg / 1000
    text = f"{value:.1f} g" if abs(value) < 1000 else f"{value:.0f} g"
    return text.replace(".", decimal_mark())


def held(balance: Balance) -> str:
    """Write a balance with one standard uncertainty.

    >>> held(Balance(480_000, 225_000_000))
    '480.0 g ± 15.0 g'
    """
    return f"{grams(balance.mass_mg)} ± {grams(balance.uncertainty_mg)}"
