"""Names that must mean one thing: refrigerants, accounts, moments."""

from __future__ import annotations

import re
from datetime import UTC, datetime

from loopwright.errors import InputError, Problem
from loopwright.language import say

__all__ = ["moment", "refrigerant_name", "text_problem"]

_REFRIGERANT = re.compile(r"R\s*-?\s*(\d{2,4})\s*([a-z]{0,3})\s*(?:\(?([ez])\)?)?", re.IGNORECASE)
_SAFE_LINES = "\n\t"


def refrigerant_name(written: str) -> str:
    """Bring a refrigerant's designation to one spelling, so that one substance is never two.

    Parameters
    ----------
    written : a designation of ASHRAE 34 / ISO 817 with or without hyphen, in any case

    Returns
    -------
    str : "R", the number, the letters; capitals for the blends of the 400 and 500 series, small letters otherwise
        (the rule of ASHRAE 34 / ISO 817, from memory)

    Raises
    ------
    InputError : not a designation

    >>> [refrigerant_name(written) for written in ("r-134A", "R1234YF", "R 407c", "r1234ze(e)")]
    ['R134a', 'R1234yf', 'R407C', 'R1234ze(E)']
    """
    match = _REFRIGERANT.fullmatch(written.strip())
    if not match:
        allowed = say("a designation such as R134a or R1234yf")
        raise InputError([Problem("refrigerant", repr(written), allowed, say("Not a refrigerant's designation."))])
    number, letters, isomer = match.groups()
    blend = len(number) == 3 and number[0] in "45"
    letters = letters.upper() if blend else letters.lower()
    return f"R{number}{letters}" + (f"({isomer.upper()})" if isomer else "")


def moment(written: str | datetime) -> str:
    """Bring a date and time to UTC, to the second, as RFC 3339 writes it.

    Raises
    ------
    InputError : not a date and time, or without its offset from UTC (then nobody can tell which moment it was)

    >>> moment("2026-07-01T10:00:00+02:00")
    '2026-07-01T08:00:00Z'
    """
    try:
        when = datetime.fromisoformat(written) if isinstance(written, str) else written
    except ValueError:
        when = None
    if when is None or when.tzinfo is None:
        allowed = say("a date and time with its offset, such as 2026-07-01T10:00:00+02:00")
        raise InputError([Problem("at", repr(written), allowed, say("Not a moment in time."))])
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def text_problem(field: str, text: str, longest: int, lines: bool = False) -> Problem | None:
    """Tell what is wrong with a text that will be kept for ever: too long, blank at an end, or not to be seen."""
    visible = text.translate({ord(c): None for c in _SAFE_LINES}) if lines else text
    if len(text) <= longest and text == text.strip() and (visible == "" or visible.isprintable()):
        return None
    found = repr(text if len(text) <= 60 else text[:57] + "...")
    allowed = say("up to {count} visible characters, none of them a blank at an end", count=longest)
    return Problem(field, found, allowed, say("Not a text that can be kept."))
