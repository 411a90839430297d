"""Values that cannot be, and what was probably meant: another unit, or gauge for absolute."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

from loopwright.errors import Problem
from loopwright.language import say
from loopwright.quantities import Kind, Quantity, find_unit, from_si, show, written_as
from loopwright.readings.points import Range, table
from loopwright.readings.records import Vehicle

__all__ = ["limits", "meant", "out_of_range", "pressure_cannot_be", "value_cannot_be"]

# Units that people mix up with one another, the commonest first.
_OFTEN: dict[Kind, tuple[str, ...]] = {
    "pressure": ("kPa", "psi", "bar", "kgf/cm2"),
    "temperature": ("°C", "°F"),
    "mass": ("g", "kg", "lb", "oz"),
    "length": ("m", "ft"),
    "fraction": ("%", "1"),
    "rotation": ("rpm", "1/s"),
    "air_speed": ("m/s", "km/h", "ft/min"),
    "volume": ("cm3", "L", "in3"),
    "voltage": ("V", "mV"),
    "time": ("min", "s", "h"),
}


def limits(point: str, quantity: str, vehicle: Vehicle | None) -> Range:
    """Return the range of a quantity at a point, narrowed to what the vehicle's refrigerant allows."""
    found = table().carries(point)[quantity]
    if quantity != "pressure":
        return found
    known = table().refrigerants.values() if vehicle is None else [table().refrigerants[vehicle.refrigerant]]
    high = max(r.pressure_high for r in known if r.loop or vehicle is not None)
    return dataclasses.replace(found, high=high, usual_high=min(found.usual_high, high))


def meant(found: Quantity) -> Iterator[tuple[str, float]]:
    """Yield each other unit in which the same number may have been meant, and the value it would be in SI."""
    written = from_si(found.value, found.kind, found.unit.symbol)
    for symbol in _OFTEN.get(found.kind, ()):
        if symbol != found.unit.symbol:
            unit, _ = find_unit(symbol, found.kind)
            yield symbol, unit.factor * written + unit.offset


def out_of_range(field: str, written: object, found: Quantity, allowed: Range, unit: str) -> Problem:
    """Name a value that is no pressure and lies outside what can be, with the unit that was probably meant."""
    low, high = (show(limit, found.kind, unit) for limit in (allowed.low, allowed.high))
    here = find_unit(unit, found.kind)[0].symbol
    fits = [f"{symbol} ({show(value, found.kind, here)})" for symbol, value in meant(found) if allowed.usual(value)]
    says = say("Too low to be.") if found.value < allowed.low else say("Too high to be.")
    return Problem(
        field, _named(written, found), say("{low} to {high}", low=low, high=high), says + _probably(fits, found)
    )


def value_cannot_be(
    field: str, written: object, found: Quantity, value: float, allowed: Range, air: float, quantity: str
) -> Problem:
    """Name a reading outside what can be; `value` in SI, absolute, `air` the pressure of the air there [Pa]."""
    if quantity == "pressure":
        return pressure_cannot_be(field, written, found, value, allowed, air)
    return out_of_range(field, written, found, allowed, table().quantities[quantity].unit)


def pressure_cannot_be(
    field: str, written: object, found: Quantity, value: float, allowed: Range, air: float
) -> Problem:
    """Name a pressure outside what can be: below a full vacuum, or above where a relief valve has opened."""
    low, high = (show(limit - air, "pressure", found.unit.symbol) for limit in (allowed.low, allowed.high))
    span = say("{low} to {high} gauge", low=low, high=high)
    if value > allowed.high:
        fits = [symbol for symbol, other in meant(found) if allowed.usual(other + (value - found.value))]
        says = say("Above the pressure at which a relief valve opens.") + _probably(fits, found)
        return Problem(field, _named(written, found), span, says)
    if value == found.value:  # written as absolute
        says = say("Too close to a full vacuum for a vehicle.")
        if allowed.low <= found.value + air <= allowed.high:
            says += say(" Probably gauge pressure written as absolute.")
        return Problem(
            field,
            _named(written, found),
            say("{span}, or {low} absolute", span=span, low=show(allowed.low, "pressure", "kPa")),
            says,
        )
    return Problem(field, _named(written, found), span, say("Below a full vacuum.") + _vacuum_meant(found, air))


def _probably(fits: list[str], found: Quantity) -> str:
    return (
        say(" Probably {meant} written as {unit}.", meant=say(" or ").join(fits[:2]), unit=found.unit.symbol)
        if fits
        else ""
    )


def _vacuum_meant(found: Quantity, air: float) -> str:
    number = abs(from_si(found.value, "pressure", found.unit.symbol))
    vacuum, _ = find_unit("inHg", "pressure")
    if found.unit.symbol != "inHg" and 0 < number * vacuum.factor < air:
        return say(" Probably inches of mercury of vacuum written as {unit}.", unit=found.unit.symbol)
    return say(" The gauge's zero or the altitude may be wrong.")


def _named(written: object, found: Quantity) -> str:
    text = written_as(written)
    return text if any(ch.isalpha() or ch in "%°" for ch in text) else f"{text} {found.unit.symbol}"
