"""The ledger as an inspector reads it: movements line by line, and tables that answer what a jurisdiction asks."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from loopwright.language import say
from loopwright.ledger.books import Books
from loopwright.ledger.law import Jurisdiction
from loopwright.ledger.values import STORES, Account, Entry, Leg, Moved, Operator, Reversed, Weighed

__all__ = ["Records", "Row", "movements", "records", "to_csv"]

Row = Mapping[str, str | int | float | None]
_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # what a spreadsheet would run instead of show


class Records(NamedTuple):
    """What a jurisdiction asks, answered; `gaps` says in sentences what is missing. Tables are lists of like rows."""

    jurisdiction: Jurisdiction
    since: str
    sent: tuple[Row, ...]
    operators: tuple[Row, ...]
    equipment: tuple[Row, ...]
    quarters: tuple[Row, ...]
    gaps: tuple[str, ...]


def movements(entries: Iterable[Entry], since: str = "") -> list[dict[str, str | int | float | None]]:
    """Every leg that moved refrigerant on or after the day `since`, one row each.

    Masses in grams, into the account where positive; `reversed_by` names the entry that took it back, if any.
    """
    rows: list[dict[str, str | int | float | None]] = []
    books = Books()
    for entry in entries:
        books.add(entry)
        if entry.at[:10] >= since:
            rows += [_leg_row(books, entry, leg) for leg in entry.legs]
    for row in rows:  # what is known by now, not only by then
        row["reversed_by"] = books.reversed_by(int(row["entry"] or 0))
        row["certificate"] = books.operators.get(str(row["by"]), Operator("?")).certificate
    return rows


def _leg_row(books: Books, entry: Entry, leg: Leg) -> dict[str, str | int | float | None]:
    fact, account = entry.fact, books.accounts[leg.account]
    original = books.entry(fact.entry) if isinstance(fact, Reversed) else entry
    moved = original.fact if original is not None else fact
    return {
        "entry": entry.seq,
        "at": entry.at,
        "recorded": entry.recorded,
        "act": type(fact).__struct_config__.tag,
        "account": leg.account,
        "kind": account.kind,
        "name": account.name,
        "address": account.address,
        "refrigerant": moved.refrigerant if isinstance(moved, Moved | Weighed) else "",
        "mass_g": leg.mass_mg / 1000,
        "uncertainty_g": round(abs(leg.variance_mg2) ** 0.5) / 1000,
        "method": fact.method if isinstance(fact, Moved) else "scale" if isinstance(fact, Weighed) else "",
        "by": entry.by,
        "certificate": "",
        "job": entry.job,
        "note": entry.note,
        "deviation": fact.deviation if isinstance(fact, Moved) else "",
        "reverses": fact.entry if isinstance(fact, Reversed) else None,
        "reversed_by": None,
    }


def records(entries: Sequence[Entry], asked: Jurisdiction, since: str = "") -> Records:
    """Answer what a jurisdiction asks, from the day `since` on (all of it where none is given).

    Movements that were reversed are left out of the tables; they remain in `movements`, with their reversal.
    """
    books = Books()
    for entry in entries:
        books.add(entry)
    standing = [
        entry
        for entry in entries
        if entry.at[:10] >= since and isinstance(entry.fact, Moved) and books.reversed_by(entry.seq) is None
    ]
    sent = _sent(standing, books.accounts)
    operators = _operators([entry for entry in entries if entry.at[:10] >= since and entry.legs], books.operators)
    equipment = _equipment(books.accounts)
    gaps = [
        *_gaps(sent, "facility", ("name", "address"), "sent", asked),
        *_gaps(operators, "operator", ("certificate", "proof"), "operators", asked),
        *_gaps(equipment, "machine", ("make", "model", "serial", "manufactured"), "equipment", asked),
    ]
    return Records(asked, since, sent, operators, equipment, _quarters(standing, books.accounts), tuple(gaps))


def _sent(entries: Iterable[Entry], accounts: Mapping[str, Account]) -> tuple[Row, ...]:
    return tuple(
        {
            "at": entry.at,
            "facility": leg.account,
            "kind": accounts[leg.account].kind,
            "name": accounts[leg.account].name,
            "address": accounts[leg.account].address,
            "refrigerant": entry.fact.refrigerant if isinstance(entry.fact, Moved) else "",
            "mass_g": leg.mass_mg / 1000,
            "entry": entry.seq,
        }
        for entry in entries
        for leg in entry.legs
        if leg.mass_mg > 0 and accounts[leg.account].kind in ("reclaimer", "destruction")
    )


def _operators(entries: Iterable[Entry], known: Mapping[str, Operator]) -> tuple[Row, ...]:
    """Everyone who entered a movement; whoever was never registered is a gap."""
    names = sorted({entry.by for entry in entries})
    found = [known.get(name, Operator(name)) for name in names]
    return tuple(
        {
            "operator": o.name,
            "programme": o.programme,
            "certificate": o.certificate,
            "issued": o.issued,
            "proof": o.proof,
        }
        for o in found
    )


def _equipment(accounts: Mapping[str, Account]) -> tuple[Row, ...]:
    rows: list[Row] = []
    for account in accounts.values():
        if account.kind == "machine":
            made = account.equipment
            values = {f: getattr(made, f, "") for f in ("make", "model", "serial", "manufactured", "standard")}
            rows.append({"machine": account.id, "address": account.address, **values})
    return tuple(rows)


def _quarters(entries: Iterable[Entry], accounts: Mapping[str, Account]) -> tuple[Row, ...]:
    """Grams of each refrigerant in each quarter of the calendar, in UTC."""
    sums: dict[tuple[str, str], dict[str, int]] = {}
    for entry in entries:
        assert isinstance(entry.fact, Moved)
        quarter = f"{entry.at[:4]}-Q{(int(entry.at[5:7]) + 2) // 3}"
        into = sums.setdefault((quarter, entry.fact.refrigerant), dict.fromkeys(_COLUMNS, 0))
        for leg in entry.legs:
            for column in _columns(accounts[leg.account].kind, entry, leg, accounts):
                into[column] += abs(leg.mass_mg)
    return tuple(
        {"quarter": quarter, "refrigerant": refrigerant, **{f"{c}_g": mass / 1000 for c, mass in columns.items()}}
        for (quarter, refrigerant), columns in sorted(sums.items())
    )


_COLUMNS = ("bought", "returned", "recovered", "charged", "sent", "lost")


def _columns(kind: str, entry: Entry, leg: Leg, accounts: Mapping[str, Account]) -> tuple[str, ...]:
    """Which column a leg counts for: what came from a supplier, out of vehicles, into them, to waste, to the air."""
    gives = leg.mass_mg < 0
    if kind == "supplier":
        return ("bought",) if gives else ("returned",)
    if kind in ("reclaimer", "destruction"):
        return () if gives else ("sent",)
    if kind == "atmosphere":
        return () if gives else ("lost",)
    if kind != "vehicle":
        return ()
    others = {accounts[other.account].kind for other in entry.legs if (other.mass_mg < 0) != gives}
    return () if not others & (STORES - {"vehicle"}) else (("recovered",) if gives else ("charged",))


def _gaps(rows: Iterable[Row], what: str, fields: Sequence[str], need: str, asked: Jurisdiction) -> list[str]:
    if not any(need in rule.needs for rule in asked.rules):
        return []
    found = []
    for name, missing in {str(row[what]): [f for f in fields if not row[f]] for row in rows}.items():
        if missing:
            found.append(
                say(
                    "The {what} {name} has no {missing} in the ledger.",
                    what=what,
                    name=name,
                    missing=say(", no ").join(missing),
                )
            )
    return found


def to_csv(rows: Sequence[Row]) -> str:
    """Write rows as CSV (RFC 4180), first row names.

    A text that a spreadsheet would take for a formula gets an apostrophe before it; numbers are written as they are.

    >>> to_csv([{"note": "=1+1", "mass_g": -5.0}])
    "note,mass_g\\r\\n'=1+1,-5.0\\r\\n"
    """
    if not rows:
        return ""
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=list(rows[0]), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({name: _cell(value) for name, value in row.items()} for row in rows)
    return out.getvalue()


def _cell(value: str | int | float | None) -> str | int | float | None:
    return "'" + value if isinstance(value, str) and value.startswith(_FORMULA) else value
