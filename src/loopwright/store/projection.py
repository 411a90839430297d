"""Deriving the tables that answer quickly from the chain that holds the facts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection

from loopwright.errors import InputError, Problem
from loopwright.ledger.books import Books, Effect, effect_of
from loopwright.ledger.chain import read_entry
from loopwright.ledger.values import Account, Amended, Entry, Opened
from loopwright.store.tables import ACCOUNT, ENTRY, LEG

__all__ = ["CHUNK", "account_row", "derive", "entry_row", "insert_entries", "leg_rows", "stored_entries"]

CHUNK = 10_000  # rows in memory at a time
Row = dict[str, Any]


def entry_row(entry: Entry, hash_: str, text: str) -> Row:
    """The row of an entry: its text, and what the database looks it up by."""
    kind = type(entry.fact).__struct_config__.tag
    reverses = getattr(entry.fact, "entry", None)
    return {"seq": entry.seq, "hash": hash_, "key": entry.key, "kind": kind, "reverses": reverses, "text": text}


def account_row(entry: Entry, account: Account) -> Row:
    """The row of an account as `entry` opened or amended it."""
    return {"id": account.id, "seq": entry.seq, "kind": account.kind, "refrigerant": account.refrigerant}


def leg_rows(entry: Entry, effect: Effect) -> list[Row]:
    """The rows of an entry's legs, each with the balance after it."""
    return [
        {
            "seq": entry.seq,
            "account": leg.account,
            "refrigerant": effect.refrigerant,
            "mass_mg": leg.mass_mg,
            "variance_mg2": leg.variance_mg2,
            "balance_mg": balance.mass_mg,
            "balance_variance_mg2": balance.variance_mg2,
        }
        for leg, balance in zip(entry.legs, effect.after, strict=True)
    ]


def stored_entries(connection: Connection) -> Iterator[tuple[int, str, str]]:
    """Every entry's number, hash and text, in the order of their numbers."""
    query = sa.select(ENTRY.c.seq, ENTRY.c.hash, ENTRY.c.text).order_by(ENTRY.c.seq).limit(CHUNK)
    last = -(2**62)
    while rows := connection.execute(query.where(ENTRY.c.seq > last)).all():
        yield from ((row.seq, row.hash, row.text) for row in rows)
        last = rows[-1].seq


def derive(connection: Connection) -> None:
    """Fill the derived tables, which are empty, from the chain.

    Raises
    ------
    InputError : an entry's text cannot be read
    """
    texts = sa.select(ENTRY.c.text).where(ENTRY.c.seq == sa.bindparam("seq"))
    books = Books(archive=lambda seq: _entry(seq, connection.execute(texts, {"seq": seq}).scalar_one()))
    accounts: dict[str, Row] = {}
    legs: list[Row] = []
    for seq, hash_, text in stored_entries(connection):
        entry = _entry(seq, text)
        if isinstance(entry.fact, Opened | Amended):
            accounts[entry.fact.account.id] = account_row(entry, entry.fact.account)
        effect = effect_of(books, entry.fact, entry.legs)
        legs += leg_rows(entry, effect) if entry.legs else ()
        books.add(entry, hash_, effect)
        legs = _flushed(connection, LEG, legs, CHUNK)
    _flushed(connection, LEG, legs, 1)
    _flushed(connection, ACCOUNT, list(accounts.values()), 1)


def insert_entries(connection: Connection, rows: Iterable[tuple[str, str]]) -> int:
    """Write a chain given as hash and text of every entry, first entry first; return how many.

    Raises
    ------
    InputError : an entry's text cannot be read, or its number is not the next
    """
    waiting: list[Row] = []
    count = 0
    for count, (hash_, text) in enumerate(rows, 1):
        entry = _entry(count, text)
        if entry.seq != count:
            raise _unsound(count, f"Its text says that it is entry {entry.seq}.")
        waiting.append(entry_row(entry, hash_, text))
        waiting = _flushed(connection, ENTRY, waiting, CHUNK)
    _flushed(connection, ENTRY, waiting, 1)
    return count


def _flushed(connection: Connection, table: sa.Table, rows: list[Row], at_least: int) -> list[Row]:
    if len(rows) < at_least:
        return rows
    connection.execute(table.insert(), rows)
    return []


def _entry(seq: int, text: str) -> Entry:
    try:
        return read_entry(text)
    except ValueError as error:
        raise _unsound(seq, f"Its text is no entry: {error}.") from error


def _unsound(seq: int, says: str) -> InputError:
    return InputError([Problem(f"entry {seq}", "a text", "an entry as exported", says)])
