"""A shop's acts as short lines of text, so that a test reads like the bay. Masses in grams, uncertainties one sigma.

open supplier S
open cylinder A R134a virgin
S > A 10000 15            from S to A 10,000 g ± 15 g
S > A 500 5 R22           of another refrigerant than R134a
weigh A 9400 20           found 9400 g ± 20 g; with "against U" the difference is booked
reverse 6
mark A contaminated
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import count

from loopwright.ledger import (
    Account,
    Amended,
    Books,
    Cylinder,
    Draft,
    Leg,
    Moved,
    Opened,
    Posting,
    Reversed,
    Weighed,
    prepare,
)

AT = "2026-07-01T08:00:00Z"
CYLINDER = Cylinder("refillable", tare_mg=5_000_000, water_capacity_mg=12_000_000)
OPENING = """
    open supplier S
    open cylinder A R134a virgin
    open vehicle V R134a
    open machine M R134a recycled
    open unexplained U
    open atmosphere air
    S > A 10000 15
    A > V 500 5
"""  # entries 1 to 8
_KEYS = count(1)


def mg(grams: str) -> int:
    return round(float(grams) * 1000)


def legs(source: str, target: str, mass_mg: int, uncertainty_mg: int = 0) -> tuple[Leg, ...]:
    variance = uncertainty_mg**2
    return Leg(source, -mass_mg, variance), Leg(target, mass_mg, variance)


def draft(line: str, books: Books | None = None, key: str | None = None, **more: str) -> Draft:
    words = line.split()
    fact, moved, note = None, (), ""
    match words:
        case ["open", "cylinder", name, refrigerant, state]:
            fact = Opened(Account(name, "cylinder", refrigerant, state, cylinder=CYLINDER))
        case ["open", kind, name, *rest]:
            fact = Opened(Account(name, kind, *rest))
        case [source, ">", target, mass, spread, *refrigerant]:
            fact = Moved(refrigerant[0] if refrigerant else "R134a", "scale", more.pop("deviation", ""))
            moved = legs(source, target, mg(mass), mg(spread))
        case ["weigh", name, found, spread, *against]:
            fact = Weighed(name, "R134a", mg(found), mg(spread), against=against[1] if against else None)
        case ["reverse", seq]:
            fact, note = Reversed(int(seq)), "a mistake"
        case ["mark", name, state]:
            assert books is not None
            old = books.accounts[name]
            fact = Amended(Account(name, old.kind, old.refrigerant, state, cylinder=old.cylinder))
        case _:
            raise AssertionError(line)
    return Draft(key or f"key {next(_KEYS)}", AT, "Ann", fact, moved, note)


def lines(text: str) -> Iterator[str]:
    return (line for line in map(str.strip, text.splitlines()) if line)


def post(books: Books, act: str | Draft, **more: str) -> Posting:
    posting = prepare(books, act if isinstance(act, Draft) else draft(act, books, **more), AT)
    books.add(posting.entry, posting.hash, posting.effect)
    return posting


def kept(*texts: str) -> tuple[Books, list[Posting]]:
    """Books after these acts, and every entry."""
    books = Books()
    return books, [post(books, line) for text in texts for line in lines(text)]


def rows(postings: Iterable[Posting]) -> list[tuple[str, str]]:
    return [(p.hash, p.text) for p in postings]
