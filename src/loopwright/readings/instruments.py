"""Instruments and how far they err, for readings whose sheet gives no accuracy."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from types import MappingProxyType

from loopwright import cards
from loopwright.readings.points import QUANTITIES
from loopwright.readings.records import Reading

__all__ = ["Instrument", "default_sigma", "instrument_of", "instruments"]


@dataclass(frozen=True)
class Instrument:
    """A class of instruments.

    The error lies within `limit` (SI) plus `limit_of_value` times the size of the value, above absolute zero for a
    pressure and above 0 °C for a temperature; `resolution` (SI) is the finest step a person reads off. `words` are
    parts of names by which people call it, `points` narrows where it is used, `default_at` lists the points at which it
    is taken where the sheet names none ("*" is everywhere else).
    """

    id: str
    name: str
    quantity: str = field(metadata={"allowed": QUANTITIES})
    source: tuple[str, ...]
    limit: float = field(metadata={"low": 0})
    limit_of_value: float = field(default=0.0, metadata={"low": 0, "high": 0.2})
    resolution: float = field(default=0.0, metadata={"low": 0})
    words: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    default_at: tuple[str, ...] = ()
    note: str = ""

    def sigma(self, value: float) -> float:
        """Return one standard deviation (SI) at a value (SI, absolute).

        Bounds and steps say that the error lies inside and no more: uniform, so the half-width over the square root of
        three for the limit and the whole step over the square root of twelve (JCGM 100:2008, 4.3.7).
        """
        size = abs(value - 273.15) if self.quantity == "temperature" else abs(value)
        return math.hypot((self.limit + self.limit_of_value * size) / math.sqrt(3), self.resolution / math.sqrt(12))


@cache
def instruments() -> Mapping[str, Instrument]:
    """Return every class of instruments by id.

    Raises
    ------
    CardError : a card is wrong
    """
    return MappingProxyType(cards.load_all("loopwright.readings", "instruments", Instrument))


def instrument_of(reading: Reading) -> Instrument:
    """Return the class of instrument a reading was taken with: by its name on the sheet, else the usual one there.

    Raises
    ------
    LookupError : no class of instrument measures that quantity; a fault of ours, each quantity has a default
    """
    fits = [i for i in instruments().values() if i.quantity == reading.quantity and _at(i, reading.point)]
    named = (reading.instrument or "").casefold()
    best = max(((len(w), i) for i in fits for w in i.words if w in named), key=lambda pair: pair[0], default=None)
    if best is not None:
        return best[1]
    for point in (reading.point, "*"):
        for instrument in fits:
            if point in instrument.default_at:
                return instrument
    raise LookupError(f"no instrument for {reading.quantity} at {reading.point}")


def default_sigma(reading: Reading) -> float:
    """Return one standard deviation (SI) of a reading: its own where the sheet gave an accuracy, else the instrument's.

    Raises
    ------
    LookupError : as in `instrument_of`

    >>> round(default_sigma(Reading("running", "low_side", "pressure", 300e3)) / 1e3, 1)  # kPa
    10.6
    """
    return reading.sigma if reading.sigma is not None else instrument_of(reading).sigma(reading.value)


def _at(instrument: Instrument, point: str) -> bool:
    return not instrument.points or point in instrument.points
