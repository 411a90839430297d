"""Reading a number with its unit as people write it."""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from numbers import Real
from typing import Literal

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.quantities.units import Kind, Reference, Unit, canonical, units_of

__all__ = ["Quantity", "absolute", "find_unit", "number", "parse", "written_as"]

LONGEST = 60  # characters; nothing that a person writes for one value is longer
_REFERENCES: dict[str, Reference] = {
    "g": "gauge",
    "gauge": "gauge",
    "gage": "gauge",
    "a": "absolute",
    "abs": "absolute",
    "absolute": "absolute",
    "vac": "vacuum",
    "vacuum": "vacuum",
    "ofvacuum": "vacuum",
}
_TYPOGRAPHIC = str.maketrans("−–’”″º˚", '--\'""°°')
_NUMBER = r"[+-]?(?:\d+(?:[ '_]\d{3}(?!\d))*(?:[.,]\d+)*[.,]?|[.,]\d+)(?:e[+-]?\d{1,3})?"
_WRITTEN = re.compile(rf"\s*({_NUMBER})\s*(.*?)\s*", re.IGNORECASE)
_GROUPED = re.compile(r"\d{1,3}([ '_])\d{3}(?:\1\d{3})*")
_POUNDS_OUNCES = re.compile(
    rf"\s*({_NUMBER})\s*(?:lbs?|pounds?)\s*,?\s*({_NUMBER})\s*(?:ozs?|ounces?)\s*", re.IGNORECASE
)


@dataclass(frozen=True)
class Quantity:
    """A value in SI with what was written: its unit, and for a pressure whether it is gauge, absolute or a vacuum.

    `value` of a gauge pressure is above the atmosphere (a vacuum below it, so negative); only `absolute` makes a
    pressure of it. `reference` is None where none was written.
    """

    value: float
    kind: Kind
    unit: Unit
    reference: Reference | None = None


def parse(written: object, kind: Kind, unit: str | None = None, default: str | None = None) -> Quantity:
    """Read what a person wrote.

    Parameters
    ----------
    written : a number, or text with or without its unit ("30 psi", "30,5", "41F", "1 lb 5 oz", "12 inHg vac")
    kind : what it is a measure of
    unit : the unit that stands beside it; a unit in the text must not contradict it
    default : the unit to take where there is none in either place

    Raises
    ------
    InputError : no number, no unit, an unknown or contradicting unit, or not finite; one problem, its field empty

    >>> parse("41 °F", "temperature").value - 273.15
    5.0
    >>> parse("12 inHg vac", "pressure").reference, round(parse("12 inHg vac", "pressure").value)
    ('vacuum', -40637)
    >>> round(parse("1 lb 5 oz", "mass").value, 4)
    0.5953
    """
    if isinstance(written, bool) or not isinstance(written, str | Real):
        raise _wrong(written, _example(kind), say("Not a number."))
    if not isinstance(written, str):
        return _with_unit(_finite(written, written), kind, _needed(unit or default, kind, written), written)
    text = _plain(written)
    if kind == "mass" and (pair := _POUNDS_OUNCES.fullmatch(text)):
        pounds, ounces = number(pair[1]), number(pair[2])
        return _with_unit(pounds + ounces / 16, kind, "lb", written)
    match = _WRITTEN.fullmatch(text)
    if not match:
        raise _wrong(written, _example(kind), say("Not a number."))
    value = _finite(number(match[1]), written)
    if match[2] and unit is not None:
        _agree(match[2], unit, kind, written)
    return _with_unit(value, kind, match[2] or _needed(unit or default, kind, written), written, unit)


def number(text: str) -> float:
    """Read a bare number with a decimal point or comma, and with or without thousands separators.

    Raises
    ------
    InputError : not a number, or ambiguous: one comma before three digits may be decimal or thousands

    >>> number("30,5"), number("1.234,5"), number("1,234.5"), number("1 500"), number("−3")
    (30.5, 1234.5, 1234.5, 1500.0, -3.0)
    """
    text = _plain(text).strip()
    mantissa, mark, exponent = text.casefold().partition("e")
    sign, digits = (mantissa[0], mantissa[1:]) if mantissa[:1] in ("+", "-") else ("", mantissa)
    try:
        return float(f"{sign}{_decimal(digits, text)}{mark}{exponent}")
    except ValueError as error:
        if isinstance(error, InputError):
            raise
        raise _wrong(text, say("a number such as 30.5 or 30,5"), say("Not a number.")) from error


def find_unit(spelling: str, kind: Kind) -> tuple[Unit, Reference | None]:
    """Find a unit by any of its spellings; a pressure's may carry its reference ("psig", "kPa abs", "inHg vac").

    Raises
    ------
    InputError : no unit of this kind is spelt so; names the nearest and all that are allowed

    >>> unit, reference = find_unit("kg/cm² (g)", "pressure")
    >>> unit.symbol, reference
    ('kgf/cm2', 'gauge')
    """
    if len(spelling) <= LONGEST and (found := _spellings(kind).get(canonical(spelling))):
        return found
    allowed = ", ".join(u.symbol for u in units_of(kind))
    near = get_close_matches(canonical(spelling[:LONGEST]), _spellings(kind), n=1)
    hint = say(" Did you mean {word}?", word=_spellings(kind)[near[0]][0].symbol) if near else ""
    raise _wrong(spelling, allowed, say("Not a unit of {kind}.{hint}", kind=say(kind.replace("_", " ")), hint=hint))


def absolute(pressure: Quantity, atmosphere: float, reference: Literal["gauge", "absolute"] = "gauge") -> float:
    """Turn a pressure as read into absolute pressure [Pa].

    Parameters
    ----------
    pressure : as parsed; its own reference counts, `reference` is for those that carry none
    atmosphere : absolute pressure of the air where it was read [Pa]
    reference : "gauge" or "absolute"

    Raises
    ------
    TypeError : the quantity is no pressure

    >>> absolute(parse("30 psi", "pressure"), 98357.6) / 1e3  # doctest: +ELLIPSIS
    305.20...
    """
    if pressure.kind != "pressure":
        raise TypeError(f"{pressure.kind} is no pressure")
    if (pressure.reference or reference) == "absolute":
        return pressure.value
    return atmosphere + pressure.value  # a vacuum was made negative when it was read


def _with_unit(value: float, kind: Kind, spelling: str, written: object, declared: str | None = None) -> Quantity:
    unit, reference = find_unit(spelling, kind)
    if reference is None and declared is not None:
        _, reference = find_unit(declared, kind)
    if reference == "vacuum":
        value = -abs(value)  # "-12 inHg vac" and "12 inHg vac" are written for the same thing
    return Quantity(_finite(unit.factor * value + unit.offset, written), kind, unit, reference)


def _agree(spelling: str, declared: str, kind: Kind, written: object) -> None:
    (inside, its), (beside, other) = find_unit(spelling, kind), find_unit(declared, kind)
    if inside != beside or (its and other and its != other):
        raise _wrong(
            say("{written!r} with unit {declared!r}", written=written, declared=declared),
            say("one unit, or the same one twice"),
            say("Two different units."),
        )


def _needed(unit: str | None, kind: Kind, written: object) -> str:
    if unit is None:
        raise _wrong(written, ", ".join(u.symbol for u in units_of(kind)), say("No unit."))
    return unit


def _finite(value: Real | float, written: object) -> float:
    try:
        plain = float(value)
    except OverflowError:  # an integer of hundreds of digits
        plain = math.inf
    if not math.isfinite(plain):
        raise _wrong(written, say("a finite number"), say("Not a finite number."))
    return plain


def _plain(text: str) -> str:
    """Bring full-width digits, superscripts, typographic minus, quotes and degree signs to their plain form."""
    if len(text) > LONGEST:
        raise _wrong(text, say("at most {count} characters", count=LONGEST), say("Too long for one value."))
    return unicodedata.normalize("NFKC", text.translate(_TYPOGRAPHIC))


def _decimal(digits: str, text: str) -> str:
    """Return the digits with a decimal point and no thousands separators."""
    whole, mark, part = _split_decimal(digits, text)
    if whole and not whole.isdigit():
        kind = set(whole) - set("0123456789")
        if len(kind) != 1 or not _GROUPED.fullmatch(whole.replace(next(iter(kind)), " ")):
            raise ValueError(text)
        whole = "".join(ch for ch in whole if ch.isdigit())
    return f"{whole}{mark and '.'}{part}"


def _split_decimal(digits: str, text: str) -> tuple[str, str, str]:
    last = max(digits.rfind("."), digits.rfind(","))
    if last < 0:
        return digits, "", ""
    mark, rest = digits[last], digits[last + 1 :]
    if digits.count(mark) > 1:  # 1,234,567: the marks can only be thousands
        return digits, "", ""
    if mark == "," and re.fullmatch(r"[1-9]\d{0,2},\d{3}", digits):
        plain = digits.replace(",", "")
        raise _wrong(
            text,
            say("{one} or {other}", one=plain, other=digits.replace(",", ".")),
            say("The comma may be decimal or thousands."),
        )
    return digits[:last], mark, rest


@cache
def _spellings(kind: Kind) -> dict[str, tuple[Unit, Reference | None]]:
    table: dict[str, tuple[Unit, Reference | None]] = {}
    for unit in units_of(kind):
        for name in (unit.symbol, *unit.spellings):
            table[canonical(name)] = (unit, None)
            if kind == "pressure":
                table |= {canonical(name + word): (unit, reference) for word, reference in _REFERENCES.items()}
            elif kind == "pressure_difference":  # an error of a gauge is often given in "psig"; it counts from nothing
                table |= {canonical(name + word): (unit, None) for word in _REFERENCES}
    if kind == "pressure":  # a vacuum gauge in micron reads from true vacuum upwards
        table |= {name: (unit, "absolute") for name, (unit, known) in table.items() if unit.symbol == "micron"}
    return table


def written_as(found: object) -> str:
    """Return what was found so that it can stand in a message: short, printable, whatever it was.

    >>> written_as("30 psi"), written_as(None), written_as(True), written_as([1, 2])
    ('30 psi', 'null', 'true', '[1, 2]')
    """
    if found is None or isinstance(found, bool):
        return {None: "null", True: "true", False: "false"}[found]
    try:
        text = found if isinstance(found, str) else repr(found)
    except (ValueError, RecursionError):  # an integer of thousands of digits; lists a thousand deep
        text = say("a {name} too large to print", name=type(found).__name__)
    text = text if len(text) <= LONGEST else text[:LONGEST] + "..."
    return "".join(ch if ch.isprintable() else ch.encode("unicode_escape").decode("ascii") for ch in text) or '""'


def _example(kind: Kind) -> str:
    return say("a number, with its unit if you like ({units})", units=", ".join(u.symbol for u in units_of(kind)))


def _wrong(found: object, allowed: str, says: str) -> InputError:
    return InputError([Problem("", written_as(found), allowed, says)])
