"""Printing a value of ours the way a person reads it."""

from __future__ import annotations

from loopwright.language import decimal_mark
from loopwright.quantities.parse import find_unit
from loopwright.quantities.units import Kind

__all__ = ["from_si", "show"]


def from_si(value: float, kind: Kind, unit: str) -> float:
    """Return the number that stands before `unit` for a value in SI; a pressure keeps its own reference.

    Raises
    ------
    InputError : no such unit of this kind

    >>> round(from_si(278.15, "temperature", "°F"), 9), from_si(9.0, "temperature_difference", "°F")
    (41.0, 16.2)
    """
    found, _ = find_unit(unit, kind)
    return (value - found.offset) / found.factor


def show(value: float, kind: Kind, unit: str, decimals: int | None = None, mark: str | None = None) -> str:
    """Print a value in SI with its unit, as many decimals as the unit deserves, without trailing zeros.

    Parameters
    ----------
    value : in SI, of the given kind
    unit : any spelling of a unit of that kind; printed as its own symbol
    decimals : places after the mark, kept even when zero; None leaves it to the unit
    mark : "." or ","; None takes that of the language spoken

    Raises
    ------
    InputError : no such unit of this kind

    >>> show(206842.7, "pressure", "psi"), show(278.15, "temperature", "°F"), show(0.0123, "mass", "g", 1, ",")
    ('30 psi', '41 °F', '12,3 g')
    """
    found, _ = find_unit(unit, kind)
    text = f"{from_si(value, kind, unit):.{found.decimals if decimals is None else decimals}f}"
    if decimals is None and "." in text:
        text = text.rstrip("0").rstrip(".")
    if float(text) == 0.0:
        text = text.lstrip("-")
    return f"{text.replace('.', mark or decimal_mark())} {found.symbol}".removesuffix(" 1")
