"""The books as the rules see them, answered by the database inside one transaction."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection

from loopwright.ledger.chain import GENESIS, Head, read_entry
from loopwright.ledger.values import Account, Amended, Balance, Entry, Opened, Weighed
from loopwright.store.tables import ACCOUNT, ENTRY, LEG

__all__ = ["StoredBooks"]

_HEAD = sa.select(ENTRY.c.seq, ENTRY.c.hash).order_by(ENTRY.c.seq.desc()).limit(1)
_TEXT = sa.select(ENTRY.c.text).where(ENTRY.c.seq == sa.bindparam("seq"))
_BY_KEY = sa.select(ENTRY.c.text).where(ENTRY.c.key == sa.bindparam("key"))
_REVERSED_BY = sa.select(ENTRY.c.seq).where(ENTRY.c.reverses == sa.bindparam("seq"))
_ACCOUNT = sa.select(ENTRY.c.text).join(ACCOUNT, ACCOUNT.c.seq == ENTRY.c.seq).where(ACCOUNT.c.id == sa.bindparam("id"))
_LAST_LEG = (
    sa.select(LEG.c.balance_mg, LEG.c.balance_variance_mg2)
    .where(LEG.c.account == sa.bindparam("account"), LEG.c.refrigerant == sa.bindparam("refrigerant"))
    .where(LEG.c.seq <= sa.bindparam("seq"))
    .order_by(LEG.c.seq.desc())
    .limit(1)
)
_NEXT_REFRIGERANT = (
    sa.select(LEG.c.refrigerant)
    .where(LEG.c.account == sa.bindparam("account"), LEG.c.refrigerant > sa.bindparam("after"))
    .order_by(LEG.c.refrigerant)
    .limit(1)
)
_undone = ENTRY.alias("undone")
_RECOUNTS = (
    sa.select(ENTRY.c.seq, ENTRY.c.text)
    .join(LEG, sa.and_(LEG.c.seq == ENTRY.c.seq, LEG.c.account == sa.bindparam("account")))
    .outerjoin(_undone, _undone.c.reverses == ENTRY.c.seq)
    .where(ENTRY.c.kind == "weighed", ENTRY.c.seq > sa.bindparam("seq"), _undone.c.seq.is_(None))
    .order_by(ENTRY.c.seq.desc())
)
_LATEST = 2**62


class StoredBooks:
    """A `View` of the ledger in a database, true for as long as the connection's transaction lasts."""

    def __init__(self, connection: Connection) -> None:
        """Look through a connection that is inside a transaction."""
        self._connection = connection

    def head(self) -> Head:
        """The last entry."""
        row = self._connection.execute(_HEAD).one_or_none()
        return GENESIS if row is None else Head(row.seq, row.hash)

    def _read(self, query: sa.Select[Any], **values: object) -> Entry | None:
        text: Any = self._connection.execute(query, values).scalar_one_or_none()
        return None if text is None else read_entry(text)

    def account(self, name: str) -> Account | None:
        """The account as last amended."""
        entry = self._read(_ACCOUNT, id=name)
        return entry.fact.account if entry is not None and isinstance(entry.fact, Opened | Amended) else None

    def balance(self, account: str, refrigerant: str, upto: int = _LATEST) -> Balance:
        """What it holds by the books, or held after entry `upto`."""
        values = {"account": account, "refrigerant": refrigerant, "seq": upto}
        row = self._connection.execute(_LAST_LEG, values).one_or_none()
        return Balance() if row is None else Balance(row.balance_mg, row.balance_variance_mg2)

    def holdings(self, account: str) -> Mapping[str, Balance]:
        """What it holds of each refrigerant that was ever booked to it; one look in the index for each."""
        held: dict[str, Balance] = {}
        last = ""
        while (found := self._next(account, last)) is not None:
            held[found] = self.balance(account, found)
            last = found
        return held

    def _next(self, account: str, after: str) -> str | None:
        found: str | None = self._connection.execute(_NEXT_REFRIGERANT, {"account": account, "after": after}).scalar()
        return found

    def entry(self, seq: int) -> Entry | None:
        """One entry."""
        return self._read(_TEXT, seq=seq)

    def posted(self, key: str) -> Entry | None:
        """The entry that was written for this key."""
        return self._read(_BY_KEY, key=key)

    def reversed_by(self, seq: int) -> int | None:
        """The entry that reversed this one."""
        found: int | None = self._connection.execute(_REVERSED_BY, {"seq": seq}).scalar_one_or_none()
        return found

    def recount_after(self, account: str, refrigerant: str, seq: int) -> int | None:
        """The latest standing weighing that was booked to an account after entry `seq`."""
        for found, text in self._connection.execute(_RECOUNTS, {"account": account, "seq": seq}):
            fact = read_entry(text).fact
            if isinstance(fact, Weighed) and (fact.account, fact.refrigerant) == (account, refrigerant):
                return int(found)
        return None
