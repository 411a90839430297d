"""The refrigerant ledger: the only door to it for faces, and its public Python API.

Masses are integer milligrams, uncertainties one standard uncertainty. Every act is one entry; nothing is ever changed,
and a mistake is mended with `reverse`. `by` is the person who acts.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, get_args
from uuid import uuid4

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.ledger import (
    Account,
    Amended,
    Balance,
    Cylinder,
    Draft,
    Entry,
    Equipment,
    Head,
    Leg,
    Moved,
    Opened,
    Operator,
    Reconciliation,
    Registered,
    Report,
    Reversed,
    Statement,
    Summary,
    Weighed,
    audit,
    moment,
    reconcile,
    refrigerant_name,
    summarise,
)
from loopwright.ledger.chain import read_entry
from loopwright.ledger.law import Jurisdiction, how_sure, jurisdiction, jurisdictions
from loopwright.ledger.records import Records, Row, movements, records, to_csv
from loopwright.ledger.values import AccountKind
from loopwright.store import Journal, Line, now

if TYPE_CHECKING:
    from sqlalchemy import Engine

    from loopwright.ledger.values import Fact, Method, State

__all__ = [
    "BASIC_ACCOUNTS",
    "Account",
    "Balance",
    "Equipment",
    "Head",
    "Jurisdiction",
    "Ledger",
    "Line",
    "Operator",
    "Reconciliation",
    "Records",
    "Report",
    "Row",
    "Statement",
    "Summary",
    "check_export",
    "how_sure",
    "jurisdictions",
    "receipt",
    "to_csv",
]

BASIC_ACCOUNTS: Mapping[str, AccountKind] = {
    "atmosphere": "atmosphere",
    "outside": "outside",
    "unexplained": "unexplained",
}
"""Opened in every new ledger: what escaped (estimated), what vehicles bring and take, what a scale found missing."""

_PIXELS_PER_MM = 96 / 25.4  # of SVG and CSS


class Ledger:
    """One ledger in one database: a file, or the URL of a PostgreSQL database.

    >>> import tempfile, pathlib
    >>> folder = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
    >>> ledger = Ledger(pathlib.Path(folder.name) / "shop.sqlite", by="Ann")
    >>> ledger.start()
    >>> ledger.open("Supplier", "supplier")
    4
    >>> ledger.open("Van", "vehicle", refrigerant="R134a")
    5
    >>> ledger.move("Supplier", "Van", mass_mg=600_000, uncertainty_mg=5_000)
    6
    >>> ledger.holdings("Van")["R134a"].mass_mg
    600000
    >>> ledger.verify().sound
    True
    >>> ledger.close(); folder.cleanup()
    """

    def __init__(self, where: str | Path | Engine, *, by: str, clock: Callable[[], str] | None = None) -> None:
        """Open it, making the database where there is none; `clock` gives the present moment (RFC 3339, UTC).

        Raises
        ------
        InputError : `where` is neither a file nor a URL of SQLite or PostgreSQL
        """
        self._clock = clock or now
        self._journal = Journal(where, clock=self._clock)
        self._by = by

    def close(self) -> None:
        """Let go of the database."""
        self._journal.close()

    def start(self) -> None:
        """Open the accounts that every ledger needs; those that are there already stay as they are."""
        there = self.accounts()
        missing = [Opened(Account(name, kind)) for name, kind in BASIC_ACCOUNTS.items() if name not in there]
        if missing:
            self._journal.post([self._draft(fact) for fact in missing])

    def _draft(
        self,
        fact: Fact,
        legs: tuple[Leg, ...] = (),
        at: str | None = None,
        note: str = "",
        job: str = "",
        key: str = "",
    ) -> Draft:
        when = self._clock() if at is None else moment(at)
        return Draft(key or str(uuid4()), when, self._by, fact, legs, note, job)

    def _post(self, fact: Fact, legs: tuple[Leg, ...] = (), **told: Any) -> int:
        return self._journal.post([self._draft(fact, legs, **told)])[0].entry.seq

    def open(
        self,
        name: str,
        kind: AccountKind,
        *,
        refrigerant: str | None = None,
        state: State | None = None,
        title: str = "",
        address: str = "",
        cylinder: Cylinder | None = None,
        equipment: Equipment | None = None,
        **told: Any,
    ) -> int:
        """Open an account; `title` is its full name, `told` may give `at`, `note`, `job` and `key`.

        Returns
        -------
        int : number of the entry

        Raises
        ------
        InputError : the name is taken, or something does not fit this kind of account
        """
        known = None if refrigerant is None else refrigerant_name(refrigerant)
        return self._post(Opened(Account(name, kind, known, state, title, address, cylinder, equipment)), **told)

    def open_cylinder(
        self,
        name: str,
        refrigerant: str,
        state: State,
        *,
        tare_mg: int,
        water_capacity_mg: int,
        type: Literal["refillable", "disposable"] = "refillable",
        fill_limit_mg: int | None = None,
        requalification_due: str = "",
        specification: str = "",
        serial: str = "",
        **told: Any,
    ) -> int:
        """Open a cylinder by what is stamped on it.

        Where no `fill_limit_mg` is given it is the lowest of the service rules for this refrigerant and volume; a gross
        weight rating that is marked may be lower, and then is given.

        Raises
        ------
        InputError : as in `open`; or no fill limit is given and none can be worked out for this refrigerant
        """
        limit = fill_limit_mg
        if limit is None:
            limit = _fill_limit_mg(refrigerant_name(refrigerant), type, tare_mg, water_capacity_mg, self._clock())
        stamped = Cylinder(type, tare_mg, water_capacity_mg, limit, requalification_due, specification, serial)
        return self.open(name, "cylinder", refrigerant=refrigerant, state=state, cylinder=stamped, **told)

    def amend(self, name: str, *, note: str = "", **changes: Any) -> int:
        """Change what is known about an account: `state`, `address`, `name`, `equipment`, `closed`, and for a cylinder
        any field of it (`requalification_due`, `fill_limit_mg`, ...); the entry is numbered and kept like any other.

        Raises
        ------
        InputError : there is no such account or field, or the rules do not allow the change
        """
        from msgspec.structs import replace

        account = self.account(name)
        inner = {field: changes.pop(field) for field in Cylinder.__struct_fields__ if field in changes}
        if inner and account.cylinder is None:
            raise InputError([Problem(next(iter(inner)), name, "a cylinder", say("Only a cylinder has that."))])
        if inner and account.cylinder is not None:
            changes["cylinder"] = replace(account.cylinder, **inner)
        if unknown := sorted({*changes} - {*Account.__struct_fields__}):
            raise InputError(
                [Problem(unknown[0], "a value", ", ".join(Account.__struct_fields__), say("No such field."))]
            )
        return self._post(Amended(replace(account, **changes)), note=note)

    def register(self, operator: Operator) -> int:
        """Record who may handle refrigerant and where the proof of it is kept.

        Raises
        ------
        InputError : a field cannot be kept
        """
        return self._post(Registered(operator))

    def move(
        self,
        source: str,
        target: str,
        *,
        mass_mg: int,
        uncertainty_mg: int,
        refrigerant: str | None = None,
        method: Method = "scale",
        deviation: str = "",
        **told: Any,
    ) -> int:
        """Book refrigerant from one account to another.

        Parameters
        ----------
        source, target : accounts
        mass_mg, uncertainty_mg : what moved, in mg, and its standard uncertainty
        refrigerant : its designation; that of the accounts where none is given
        method : how the mass is known ("scale", "machine", "label" or "estimate")
        deviation : why a rule was not kept, where the ledger refused without
        told : `at` (when it happened), `note`, `job`, and `key` (sent again with the same key it is written once)

        Raises
        ------
        InputError : an invariant or a rule would be broken; says which and what to do
        """
        known = self._refrigerant(source, target) if refrigerant is None else refrigerant_name(refrigerant)
        legs = (Leg(source, -mass_mg, uncertainty_mg**2), Leg(target, mass_mg, uncertainty_mg**2))
        return self._post(Moved(known, method, deviation), legs, **told)

    def recover(
        self,
        vehicle: str,
        into: str,
        *,
        mass_mg: int,
        uncertainty_mg: int,
        method: Method = "machine",
        deviation: str = "",
        key: str = "",
        **told: Any,
    ) -> int:
        """Book refrigerant out of a vehicle; what the books did not know to be in it came with it, from outside.

        Both movements are written, or neither; sent again with the same `key` they are written once.

        Raises
        ------
        InputError : as for `move`, or no account "outside"
        """
        if key and (before := self._journal.posted(key)) is not None:
            return before.seq
        known, act = self._refrigerant(vehicle, into), key or str(uuid4())
        brought = mass_mg - self._journal.balance(vehicle, known).mass_mg
        drafts = []
        if brought > 0:
            legs = (Leg("outside", -brought, uncertainty_mg**2), Leg(vehicle, brought, uncertainty_mg**2))
            drafts.append(self._draft(Moved(known, method), legs, key=f"{act[:36]}-in", **told))
        legs = (Leg(vehicle, -mass_mg, uncertainty_mg**2), Leg(into, mass_mg, uncertainty_mg**2))
        drafts.append(self._draft(Moved(known, method, deviation), legs, key=act, **told))
        return self._journal.post(drafts)[-1].entry.seq

    def written(self, key: str) -> int | None:
        """The number of the entry that was written under a key, if one was."""
        entry = self._journal.posted(key)
        return None if entry is None else entry.seq

    def entry(self, number: int) -> Entry | None:
        """One entry by its number, if there is one."""
        return self._journal.entry(number)

    def acting(self, by: str) -> Ledger:
        """The same ledger in the hands of another person."""
        other = copy.copy(self)
        other._by = by
        return other

    def operators(self) -> dict[str, Operator]:
        """Every registered operator by name."""
        return self._journal.operators()

    def _refrigerant(self, *names: str) -> str:
        known = {r for name in names if (r := self.account(name).refrigerant) is not None}
        if not known:
            raise InputError(
                [
                    Problem(
                        "refrigerant", say("none"), say("a designation such as R134a"), say("Neither account tells it.")
                    )
                ]
            )
        return min(known)  # where they differ the rules refuse it, and say so

    def reverse(self, entry: int, *, why: str, **told: Any) -> int:
        """Take back an entry that was a mistake, by a new entry.

        Raises
        ------
        InputError : it cannot be reversed, or no reason is given
        """
        return self._post(Reversed(entry), note=why, **told)

    def weigh(
        self,
        name: str,
        *,
        uncertainty_mg: int,
        gross_mg: int | None = None,
        found_mg: int | None = None,
        against: str | None = None,
        **told: Any,
    ) -> Statement:
        """Record a scale reading, and set it against the books.

        Parameters
        ----------
        name : the account weighed
        uncertainty_mg : standard uncertainty of what was found
        gross_mg : with the cylinder, whose tare is taken off; or else
        found_mg : the refrigerant alone
        against : where to book the difference ("unexplained"); without it the reading is recorded and nothing moves

        Raises
        ------
        InputError : neither or both masses, no tare known, or an invariant would be broken
        """
        account = self.account(name)
        if (gross_mg is None) == (found_mg is None):
            raise InputError(
                [Problem("gross_mg", say("neither or both"), say("gross_mg or found_mg"), say("One mass is needed."))]
            )
        tare = None
        if gross_mg is not None:
            if account.cylinder is None:
                raise InputError([Problem("gross_mg", name, "a cylinder", say("No tare is known; give found_mg."))])
            tare = account.cylinder.tare_mg
        found = found_mg if found_mg is not None else (gross_mg or 0) - (tare or 0)
        refrigerant = account.refrigerant or self._refrigerant(name)
        fact = Weighed(name, refrigerant, found, uncertainty_mg, gross_mg, tare, against)
        posting = self._journal.post([self._draft(fact, **told)])[0]
        return reconcile(fact, self._journal.balance(name, refrigerant, upto=posting.entry.seq - 1))

    def reconcile(self, kinds: Collection[str] = ()) -> Reconciliation:
        """The whole stock against the last scale reading of each account: what is unexplained, and what was never
        weighed; of some kinds of account only, where any are given."""
        return self._journal.reconciliation(kinds)

    def statements(self, name: str) -> list[Statement]:
        """The last standing weighing of an account set against the books of its time, one for each refrigerant."""
        found = {refrigerant: e for (account, refrigerant), e in self._journal.weighings().items() if account == name}
        return [
            reconcile(entry.fact, self._journal.balance(name, refrigerant, upto=entry.seq - 1))
            for refrigerant, entry in found.items()
            if isinstance(entry.fact, Weighed)
        ]

    def account(self, name: str) -> Account:
        """One account.

        Raises
        ------
        InputError : there is none of that name
        """
        return self._journal.account(name)

    def accounts(self, kinds: Collection[str] = ()) -> dict[str, Account]:
        """Every account by its name, closed ones too; of some kinds only, where any are given."""
        return self._journal.accounts(kinds)

    def holdings(self, name: str) -> Mapping[str, Balance]:
        """What an account holds by the books, by refrigerant.

        Raises
        ------
        InputError : there is none of that name
        """
        self._journal.account(name)
        return self._journal.holdings(name)

    def balances(self) -> dict[tuple[str, str], Balance]:
        """Every balance, by account and refrigerant."""
        return self._journal.balances()

    def summary(self) -> tuple[Summary, ...]:
        """Each refrigerant by kind of account; the kinds add up to zero."""
        few = [kind for kind in get_args(AccountKind) if kind != "vehicle"]
        vehicles = {("", name): balance for name, balance in self._journal.held_in("vehicle").items()}
        accounts = {**self.accounts(few), "": Account("all vehicles", "vehicle")}  # as one: there may be thousands
        return summarise(accounts, self._journal.balances(few) | vehicles)

    def history(self, name: str, newest: int = 50, before: int | None = None) -> list[Line]:
        """The newest lines of an account, newest first.

        Raises
        ------
        InputError : there is none of that name
        """
        self._journal.account(name)
        return self._journal.history(name, newest, before)

    def head(self) -> Head:
        """The last entry and its hash. Kept outside (printed, mailed), it is a receipt for all entries up to it."""
        return self._journal.head()

    def verify(self, receipts: Iterable[Head] = ()) -> Report:
        """Read everything again and name whatever is not as it was written."""
        return self._journal.verify(receipts)

    def export(self) -> Iterator[str]:
        """The whole chain as JSON Lines: one object an entry, with its `hash` and its `text` as hashed."""
        for hash_, text in self._journal.chain():
            yield json.dumps({"hash": hash_, "text": text}, ensure_ascii=False)

    def load(self, lines: Iterable[str]) -> int:
        """Fill an empty ledger with an export, unchanged; return how many entries.

        Raises
        ------
        InputError : this ledger is not empty, or the export is not sound
        """
        return self._journal.load(_exported(lines))

    def movements(self, since: str = "") -> list[dict[str, str | int | float | None]]:
        """Every leg since a day ("2026-01-01"), one row each, masses in grams."""
        return movements((read_entry(text) for _, text in self._journal.chain()), since)

    def records(self, name: str, since: str = "") -> Records:
        """What jurisdiction `name` asks to be kept, answered from the ledger, with the gaps named.

        Raises
        ------
        InputError : there is no card for that jurisdiction
        """
        asked = jurisdiction(name)
        return records([read_entry(text) for _, text in self._journal.chain()], asked, since)

    def label(self, name: str, form: str = "text") -> str:
        """A label to stick on a cylinder: "text" for a terminal, or "svg".

        Raises
        ------
        InputError : there is no such account or form
        """
        from loopwright.ledger.label import label_svg, label_text

        forms = {"text": label_text, "svg": label_svg}
        if form not in forms:
            raise InputError([Problem("form", form, " or ".join(forms), say("A label is not made so."))])
        return forms[form](self.account(name))

    def label_png(self, name: str, dots_per_mm: int = 12) -> bytes:
        """The label as a picture, 90 mm by 50 mm at so many dots a millimetre (12: about 300 to the inch).

        Raises
        ------
        InputError : there is no such account
        """
        import vl_convert

        picture: bytes = vl_convert.svg_to_png(self.label(name, "svg"), scale=dots_per_mm / _PIXELS_PER_MM)
        return picture


def _fill_limit_mg(
    refrigerant: str, type_: Literal["refillable", "disposable"], tare_mg: int, water_mg: int, now: str
) -> int:
    from loopwright.service.cylinders import Cylinder as Stamped
    from loopwright.service.cylinders import fill_limit, volume_of
    from loopwright.service.uncertain import Uncertain

    tare = Uncertain(tare_mg / 1e6, 0.0)
    stamped = Stamped(refrigerant, type_, tare, volume_of(Uncertain(water_mg / 1e6, 0.0)))
    return int(fill_limit(stamped, tare, date.fromisoformat(now[:10])).limit.value * 1e6)


def receipt(written: str) -> Head:
    """Read a receipt as it is printed: number and hash with a colon between.

    Raises
    ------
    InputError : not a receipt

    >>> receipt("12:" + "0" * 64).seq
    12
    """
    number, _, hash_ = written.strip().partition(":")
    if not (number.isdecimal() and len(hash_) == 64 and set(hash_) <= set("0123456789abcdef")):
        raise InputError(
            [Problem("receipt", written, say("a number, a colon and 64 hexadecimal digits"), say("Not a receipt."))]
        )
    return Head(int(number), hash_)


def check_export(lines: Iterable[str], receipts: Iterable[Head] = ()) -> Report:
    """Verify an exported chain without any database.

    Raises
    ------
    InputError : a line is not one of an export
    """
    return audit(_exported(lines), receipts)


def _exported(lines: Iterable[str]) -> Iterator[tuple[str, str]]:
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            record = json.loads(line)
            yield str(record["hash"]), str(record["text"])
        except (ValueError, KeyError, TypeError) as error:
            found = line if len(line) <= 60 else line[:57] + "..."
            allowed = say("an object with `hash` and `text`")
            raise InputError([Problem("export", found, allowed, say("Not a line of an export."), number)]) from error
