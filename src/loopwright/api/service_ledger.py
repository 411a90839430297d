"""The refrigerant of a job in the ledger: what a service takes out of a vehicle and puts in, under the job's number."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from loopwright.errors import InputError, Problem
from loopwright.language import later, say
from loopwright.ledger import Account, Moved, Reversed
from loopwright.quantities import parse

if TYPE_CHECKING:
    from loopwright.api.ledger import Balance, Ledger
    from loopwright.store.jobs import StoredJob

__all__ = [
    "LIMITS",
    "METHODS",
    "Movement",
    "Wanted",
    "book",
    "is_open",
    "milligrams",
    "movements_of",
    "spread",
    "stores_for",
    "vehicle_account",
]

METHODS: Mapping[str, str] = {
    "scale": later("by the scale"),
    "machine": later("by the machine"),
    "label": later("by the label"),
    "estimate": later("estimated"),
}
"""How a mass is known, in words."""

LIMITS: Mapping[str, float] = {"scale": 15.0, "machine": 30.0, "label": 20.0}
"""What a mass may be wrong by [g] where nobody says: SAE J2788 asks 15 g of a charge and 30 g of a displayed mass, as
printed in 40 CFR 82 Subpart B, Appendix C; 20 g of a label is common practice, no source. An estimate: half of it."""


@dataclass(frozen=True)
class Wanted:
    """A movement as a person typed it; `limit` is what the mass may be wrong by, blank for the usual."""

    source: str
    target: str
    mass: str
    method: str
    limit: str = ""
    deviation: str = ""
    note: str = ""


@dataclass(frozen=True)
class Movement:
    """One movement of a job: entry, accounts, masses in mg, how known, who and when, and whether it was taken back."""

    entry: int
    source: str
    target: str
    mass_mg: int
    uncertainty_mg: float
    method: str
    by: str
    at: str
    reversed: bool


def vehicle_account(vehicle: str) -> str:
    """Return the name of a vehicle's account, of the id that the shop knows it by.

    >>> vehicle_account("0b5f2c1e-aa10-4b7e-9f6b-6a1f0d9b7d21")
    'Vehicle 0b5f2c1eaa10'
    """
    return f"Vehicle {re.sub('[^A-Za-z0-9]', '', vehicle)[:12]}"


def is_open(ledger: Ledger, name: str) -> bool:
    """Whether there is an account of that name."""
    try:
        ledger.account(name)
    except InputError:
        return False
    return True


def milligrams(field: str, written: str) -> int:
    """Return a mass as typed in mg; a bare number is in grams.

    Raises
    ------
    InputError : not a mass, under that field's name

    >>> milligrams("mass", "1 lb")
    453592
    """
    try:
        return round(parse(written, "mass", default="g").value * 1e6)
    except InputError as error:
        raise InputError([Problem(field, p.found, p.allowed, p.says) for p in error.problems]) from error


def spread(mass_mg: int, method: str, limit: str) -> int:
    """Return the standard uncertainty in mg: of limits within which everything is alike (JCGM 100:2008, 4.3.7).

    Raises
    ------
    InputError : the limit is not a mass

    >>> spread(420_000, "scale", ""), spread(420_000, "estimate", "100 g")
    (8660, 57735)
    """
    usual = LIMITS.get(method, abs(mass_mg) / 2e3) * 1e3
    return round((abs(milligrams("limit", limit)) if limit.strip() else usual) / math.sqrt(3.0))


def book(ledger: Ledger, stored: StoredJob, refrigerant: str, wanted: Wanted, *, key: str, at: str) -> int:
    """Book a movement of a job; return the number of the entry. Sent again with the same `key` it is written once.

    The vehicle's account is opened where there is none yet. What is recovered and the books did not know of came with
    the vehicle, and is booked so.

    Raises
    ------
    InputError : a value that cannot be read, or the ledger refuses and says why; nothing was moved
    """
    problems = []
    if wanted.method not in METHODS:
        problems.append(Problem("method", wanted.method, ", ".join(METHODS), say("Not one of the choices.")))
    mass = milligrams("mass", wanted.mass)
    if mass <= 0:
        problems.append(Problem("mass", wanted.mass, say("more than nothing"), say("Nothing moves.")))
    if problems:
        raise InputError(problems)
    vehicle = vehicle_account(stored.vehicle)
    ledger.start()
    if vehicle in (wanted.source, wanted.target) and not is_open(ledger, vehicle):
        title = " ".join(stored.state.title.split())[:80]
        ledger.open(vehicle, "vehicle", refrigerant=refrigerant, title=title, job=str(stored.number))
    told: dict[str, Any] = {
        "mass_mg": mass,
        "uncertainty_mg": spread(mass, wanted.method, wanted.limit),
        "method": wanted.method,
        "deviation": wanted.deviation.strip(),
        "note": wanted.note.strip(),
        "job": str(stored.number),
        "key": key,
        "at": at,
    }
    if wanted.source == vehicle and ledger.account(wanted.target).kind in ("cylinder", "machine"):
        return ledger.recover(vehicle, wanted.target, **told)
    return ledger.move(wanted.source, wanted.target, refrigerant=refrigerant, **told)


def movements_of(ledger: Ledger, stored: StoredJob) -> list[Movement]:
    """Return the movements that carry the job's number, oldest first: of its vehicle, of hoses, and to the air."""
    vehicle = vehicle_account(stored.vehicle)
    names = [*ledger.accounts(("hoses", "atmosphere")), *([vehicle] if is_open(ledger, vehicle) else [])]
    entries = {line.entry.seq: line.entry for name in names for line in ledger.history(name, 200)}
    undone = {entry.fact.entry for entry in entries.values() if isinstance(entry.fact, Reversed)}
    found = []
    for seq, entry in sorted(entries.items()):
        if entry.job != str(stored.number) or not isinstance(entry.fact, Moved):
            continue
        given = next(leg for leg in entry.legs if leg.mass_mg < 0)
        taken = next(leg for leg in entry.legs if leg.mass_mg > 0)
        method, sigma = entry.fact.method, taken.variance_mg2**0.5
        found.append(
            Movement(seq, given.account, taken.account, taken.mass_mg, sigma, method, entry.by, entry.at, seq in undone)
        )
    return found


def stores_for(ledger: Ledger, refrigerant: str) -> dict[str, tuple[Account, Balance]]:
    """Return the open cylinders, machines and hoses for a refrigerant, with what they hold by the books."""
    from loopwright.api.ledger import Balance

    return {
        name: (account, ledger.holdings(name).get(refrigerant, Balance()))
        for name, account in ledger.accounts(("cylinder", "machine", "hoses")).items()
        if account.refrigerant == refrigerant and not account.closed
    }
