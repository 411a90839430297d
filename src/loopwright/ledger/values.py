"""The facts of the ledger as frozen values. Whatever can be derived from them (balances, states) is not stored in them.

Masses are integer milligrams and uncertainties one standard uncertainty, so that sums are exact and the same on every
machine. A positive leg puts refrigerant into an account, a negative one takes it out; an entry's legs add up to zero.
"""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from msgspec import Meta, Struct

__all__ = [
    "BOUNDARY",
    "LARGEST_MASS_MG",
    "LARGEST_UNCERTAINTY_MG",
    "STORES",
    "Account",
    "AccountKind",
    "Amended",
    "Balance",
    "Cylinder",
    "Draft",
    "Entry",
    "Equipment",
    "Fact",
    "Leg",
    "Method",
    "Moved",
    "Opened",
    "Operator",
    "Registered",
    "Reversed",
    "State",
    "Weighed",
]

AccountKind: TypeAlias = Literal[
    "supplier",
    "cylinder",
    "machine",
    "hoses",
    "vehicle",
    "reclaimer",
    "destruction",
    "atmosphere",
    "outside",
    "unexplained",
]
State: TypeAlias = Literal["virgin", "reclaimed", "recycled", "recovered", "contaminated"]
Method: TypeAlias = Literal["scale", "machine", "label", "estimate"]

STORES: frozenset[str] = frozenset({"cylinder", "machine", "hoses", "vehicle"})
"""What holds refrigerant here: of one designation, and never less than nothing."""
BOUNDARY: frozenset[str] = frozenset({"supplier", "outside", "unexplained"})
"""Where the books end: what came from there shows as a negative balance."""

LARGEST_MASS_MG = 10**9  # one tonne in one movement
LARGEST_UNCERTAINTY_MG = 10**7  # 10 kg; its square, 46,000 times over, still fits a 63-bit integer

# Lengths only: they are checked whenever an entry is read. What else these texts must be is checked when one is
# written (`post`); patterns here would take half the time of verifying a long chain.
Name: TypeAlias = Annotated[str, Meta(min_length=1, max_length=40)]
Designation: TypeAlias = Annotated[str, Meta(min_length=3, max_length=12)]
Moment: TypeAlias = Annotated[str, Meta(min_length=20, max_length=20)]
Day: TypeAlias = Annotated[str, Meta(max_length=10)]
Digest: TypeAlias = Annotated[str, Meta(min_length=64, max_length=64)]
Mass: TypeAlias = Annotated[int, Meta(ge=-LARGEST_MASS_MG, le=LARGEST_MASS_MG)]
Positive: TypeAlias = Annotated[int, Meta(ge=0, le=LARGEST_MASS_MG)]
Spread: TypeAlias = Annotated[int, Meta(ge=0, le=LARGEST_UNCERTAINTY_MG)]


class Cylinder(Struct, frozen=True, forbid_unknown_fields=True):
    """What is stamped and written on a cylinder.

    Masses in milligrams; `water_capacity_mg` is the mass of water that fills it; `fill_limit_mg` the most refrigerant
    it may hold by the lowest rule that applies (see the service calculation); `requalification_due` the day before
    which it must be tested again, or "" where there is none. A disposable cylinder is never refilled.
    """

    type: Literal["refillable", "disposable"]
    tare_mg: Positive
    water_capacity_mg: Positive
    fill_limit_mg: Positive | None = None
    requalification_due: Day = ""
    specification: str = ""
    serial: str = ""


class Equipment(Struct, frozen=True, forbid_unknown_fields=True):
    """A recovery machine as an authority asks for it: make, model, serial number, date of manufacture, standard."""

    make: str = ""
    model: str = ""
    serial: str = ""
    manufactured: str = ""
    standard: str = ""


class Account(Struct, frozen=True, forbid_unknown_fields=True):
    """Where refrigerant can be.

    `refrigerant` is given for whatever holds refrigerant here and for nothing else; `state` for cylinders, and for a
    machine what it delivers (recycled, or recovered where it only recovers); `address` for whoever it is sent to.
    """

    id: Name
    kind: AccountKind
    refrigerant: Designation | None = None
    state: State | None = None
    name: str = ""
    address: str = ""
    cylinder: Cylinder | None = None
    equipment: Equipment | None = None
    closed: bool = False


class Operator(Struct, frozen=True, forbid_unknown_fields=True):
    """A person who handles refrigerant, and the proof that they may: `proof` says where the document is kept."""

    name: Name
    programme: str = ""
    certificate: str = ""
    issued: Day = ""
    proof: str = ""


class Leg(Struct, frozen=True, array_like=True, forbid_unknown_fields=True, gc=False):
    """One side of an entry: mass into `account` in mg (out where negative), and what it adds to the variance in mg²."""

    account: Name
    mass_mg: int
    variance_mg2: int


class Opened(Struct, frozen=True, tag_field="kind", tag="opened", forbid_unknown_fields=True, gc=False):
    """An account begins, empty."""

    account: Account


class Amended(Struct, frozen=True, tag_field="kind", tag="amended", forbid_unknown_fields=True, gc=False):
    """What is known about an account changes (requalified, state, address, closed); all of it is given anew."""

    account: Account


class Registered(Struct, frozen=True, tag_field="kind", tag="registered", forbid_unknown_fields=True, gc=False):
    """An operator and their certificate; a later entry for the same name replaces an earlier one."""

    operator: Operator


class Moved(Struct, frozen=True, tag_field="kind", tag="moved", forbid_unknown_fields=True, gc=False):
    """Refrigerant moved between accounts; `deviation` says why a rule was not kept, and is then required."""

    refrigerant: Designation
    method: Method
    deviation: str = ""


class Weighed(Struct, frozen=True, tag_field="kind", tag="weighed", forbid_unknown_fields=True, gc=False):
    """A scale reading of what an account holds, net of its tare, in mg with its standard uncertainty.

    With `against` the difference to the books is booked to that account, and the reading replaces the balance.
    """

    account: Name
    refrigerant: Designation
    found_mg: Mass
    uncertainty_mg: Spread
    gross_mg: Positive | None = None
    tare_mg: Positive | None = None
    against: Name | None = None


class Reversed(Struct, frozen=True, tag_field="kind", tag="reversed", forbid_unknown_fields=True, gc=False):
    """Entry number `entry` never happened; its legs are taken back."""

    entry: Annotated[int, Meta(ge=1)]


Fact: TypeAlias = Opened | Amended | Registered | Moved | Weighed | Reversed


class Draft(Struct, frozen=True, forbid_unknown_fields=True):
    """What a person wants written. `key` is unique to it, so that sending it twice writes it once."""

    key: Name
    at: Moment
    by: Name
    fact: Fact
    legs: tuple[Leg, ...] = ()
    note: str = ""
    job: str = ""


class Entry(Struct, frozen=True, forbid_unknown_fields=True, gc=False):
    """What was written: `at` when it happened, `recorded` when written; `previous` is the hash of the one before."""

    seq: Annotated[int, Meta(ge=1)]
    previous: Digest
    key: Name
    at: Moment
    recorded: Moment
    by: Name
    fact: Fact
    legs: tuple[Leg, ...] = ()
    note: str = ""
    job: str = ""
    schema: Literal[1] = 1


class Balance(Struct, frozen=True, gc=False):
    """What the books say an account holds, in mg, and the variance of that in mg²."""

    mass_mg: int = 0
    variance_mg2: int = 0

    @property
    def uncertainty_mg(self) -> float:
        """One standard uncertainty in mg."""
        return float(self.variance_mg2**0.5)
