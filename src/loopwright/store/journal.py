"""The ledger in a database: posting in one transaction, and reading."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import sqlalchemy as sa
from sqlalchemy import Connection, Engine

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.ledger.audit import Report
from loopwright.ledger.books import Effect
from loopwright.ledger.chain import Head, read_entry
from loopwright.ledger.names import moment
from loopwright.ledger.post import Posting, prepare
from loopwright.ledger.reconcile import Reconciliation, stand
from loopwright.ledger.values import Account, Amended, Balance, Draft, Entry, Opened, Operator, Registered, Weighed
from loopwright.store.audit import audit_store
from loopwright.store.engine import connect, reading, writing
from loopwright.store.migrate import migrate
from loopwright.store.projection import account_row, derive, entry_row, insert_entries, leg_rows
from loopwright.store.tables import ACCOUNT, ENTRY, LEG
from loopwright.store.view import StoredBooks

__all__ = ["Journal", "Line", "now"]

_CHUNK = 2000
_BEYOND = 2**62


def now() -> str:
    """This moment, as the ledger writes it."""
    return moment(datetime.now(UTC))


class Line(NamedTuple):
    """One leg of an account's history: the entry, what it moved in mg, and what the books said after it."""

    entry: Entry
    mass_mg: int
    balance: Balance


class Journal:
    """One ledger. `clock` gives the moment at which an entry is recorded."""

    def __init__(self, where: str | Path | Engine, clock: Callable[[], str] = now) -> None:
        """Open the database, and bring its tables up to date."""
        self.engine = where if isinstance(where, Engine) else connect(where)
        self._clock = clock
        migrate(self.engine)

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    def post(self, drafts: Iterable[Draft]) -> tuple[Posting, ...]:
        """Write entries, all of them or none, in one transaction.

        Raises
        ------
        InputError : a draft breaks an invariant or a rule; nothing was written
        """
        recorded = self._clock()
        with writing(self.engine, ENTRY) as connection:
            books = StoredBooks(connection)
            return tuple(_post(connection, books, draft, recorded) for draft in drafts)

    def head(self) -> Head:
        """The last entry's number and hash: a receipt for all that is written."""
        with reading(self.engine) as connection:
            return StoredBooks(connection).head()

    def entry(self, seq: int) -> Entry | None:
        """One entry by its number, if there is one."""
        with reading(self.engine) as connection:
            return StoredBooks(connection).entry(seq)

    def posted(self, key: str) -> Entry | None:
        """The entry that was written under a key, if one was."""
        with reading(self.engine) as connection:
            return StoredBooks(connection).posted(key)

    def account(self, name: str) -> Account:
        """One account, as last amended.

        Raises
        ------
        InputError : there is none of that name
        """
        with reading(self.engine) as connection:
            account = StoredBooks(connection).account(name)
        if account is None:
            raise InputError(
                [Problem("account", name, say("an account that was opened"), say("There is no such account."))]
            )
        return account

    def accounts(self, kinds: Collection[str] = ()) -> dict[str, Account]:
        """Every account by its name, closed ones too; of some kinds only, where any are given."""
        query = sa.select(ENTRY.c.text).join(ACCOUNT, ACCOUNT.c.seq == ENTRY.c.seq).order_by(ACCOUNT.c.id)
        if kinds:
            query = query.where(ACCOUNT.c.kind.in_(kinds))
        with reading(self.engine) as connection:
            facts = [read_entry(text).fact for (text,) in connection.execute(query)]
        return {fact.account.id: fact.account for fact in facts if isinstance(fact, Opened | Amended)}

    def operators(self) -> dict[str, Operator]:
        """Every registered operator by name."""
        query = sa.select(ENTRY.c.text).where(ENTRY.c.kind == "registered").order_by(ENTRY.c.seq)
        with reading(self.engine) as connection:
            facts = [read_entry(text).fact for (text,) in connection.execute(query)]
        return {fact.operator.name: fact.operator for fact in facts if isinstance(fact, Registered)}

    def balance(self, account: str, refrigerant: str, upto: int | None = None) -> Balance:
        """What an account holds of a refrigerant by the books, or held after entry `upto`."""
        with reading(self.engine) as connection:
            books = StoredBooks(connection)
            return books.balance(account, refrigerant) if upto is None else books.balance(account, refrigerant, upto)

    def holdings(self, account: str) -> Mapping[str, Balance]:
        """What an account holds by the books, by refrigerant."""
        with reading(self.engine) as connection:
            return StoredBooks(connection).holdings(account)

    def balances(self, kinds: Collection[str] = ()) -> dict[tuple[str, str], Balance]:
        """Every balance, by account and refrigerant; of some kinds of account only, where any are given."""
        query = sa.select(ACCOUNT.c.id).order_by(ACCOUNT.c.id)
        with reading(self.engine) as connection:
            books = StoredBooks(connection)
            names = connection.execute(query.where(ACCOUNT.c.kind.in_(kinds)) if kinds else query).scalars().all()
            return {(name, held): balance for name in names for held, balance in books.holdings(name).items()}

    def held_in(self, kind: str) -> dict[str, Balance]:
        """What all accounts of a kind hold together, by refrigerant; of a kind that holds one refrigerant each.

        In one query, as there may be a vehicle for every job.
        """
        later = LEG.alias("later")
        same = (later.c.account == ACCOUNT.c.id) & (later.c.refrigerant == ACCOUNT.c.refrigerant)
        newest = sa.select(sa.func.max(later.c.seq)).where(same).correlate(ACCOUNT).scalar_subquery()
        sums = (LEG.c.refrigerant, sa.func.sum(LEG.c.balance_mg), sa.func.sum(LEG.c.balance_variance_mg2))
        query = (
            sa.select(*sums)
            .select_from(ACCOUNT)
            .join(LEG, (LEG.c.account == ACCOUNT.c.id) & (LEG.c.seq == newest))
            .where(ACCOUNT.c.kind == kind)
            .group_by(LEG.c.refrigerant)
            .order_by(LEG.c.refrigerant)
        )
        with reading(self.engine) as connection:
            return {name: Balance(int(mass), int(variance)) for name, mass, variance in connection.execute(query)}

    def weighings(self) -> dict[tuple[str, str], Entry]:
        """The last standing weighing of each account and refrigerant, booked or not."""
        undone = ENTRY.alias("undone")
        query = (
            sa.select(ENTRY.c.text)
            .outerjoin(undone, undone.c.reverses == ENTRY.c.seq)
            .where(ENTRY.c.kind == "weighed", undone.c.seq.is_(None))
            .order_by(ENTRY.c.seq)
        )
        with reading(self.engine) as connection:
            found = [read_entry(text) for (text,) in connection.execute(query)]
        return {(e.fact.account, e.fact.refrigerant): e for e in found if isinstance(e.fact, Weighed)}

    def reconciliation(self, kinds: Collection[str] = ()) -> Reconciliation:
        """The whole stock against the last weighing of each account; of some kinds only, where any are given."""
        accounts, balances = self.accounts(kinds), self.balances(kinds)
        weighings = {key: entry for key, entry in self.weighings().items() if key[0] in accounts}

        def before(account: str, refrigerant: str, seq: int) -> Balance:
            return self.balance(account, refrigerant, upto=seq - 1)

        return stand(accounts, balances, weighings, before)

    def history(self, account: str, newest: int = 50, before: int | None = None) -> list[Line]:
        """The newest lines of an account (before entry `before`), newest first."""
        query = (
            sa.select(LEG.c.seq, ENTRY.c.text, LEG.c.mass_mg, LEG.c.balance_mg, LEG.c.balance_variance_mg2)
            .join(ENTRY, LEG.c.seq == ENTRY.c.seq)
            .where(LEG.c.account == account, LEG.c.seq < (before or _BEYOND))
            .order_by(LEG.c.seq.desc())
            .limit(newest)
        )
        with reading(self.engine) as connection:
            held = StoredBooks(connection).holdings(account)  # one by one, the way the index is sorted
            rows = [row for name in held for row in connection.execute(query.where(LEG.c.refrigerant == name))]
        rows = sorted(rows, key=lambda row: -row[0])[:newest]
        return [Line(read_entry(text), mass, Balance(after, variance)) for _, text, mass, after, variance in rows]

    def chain(self, first: int = 1) -> Iterator[tuple[str, str]]:
        """Every entry's hash and text, in order, from entry `first` on; what was written meanwhile is left out."""
        with reading(self.engine) as connection:
            last = StoredBooks(connection).head().seq
            while first <= last:
                query = sa.select(ENTRY.c.hash, ENTRY.c.text).order_by(ENTRY.c.seq)
                rows = connection.execute(query.where(ENTRY.c.seq.between(first, first + _CHUNK - 1))).all()
                yield from ((hash_, text) for hash_, text in rows)
                first += _CHUNK

    def verify(self, receipts: Iterable[Head] = ()) -> Report:
        """Read everything again and name whatever is not as it was written."""
        with reading(self.engine) as connection:
            return audit_store(connection, receipts)

    def load(self, rows: Iterable[tuple[str, str]]) -> int:
        """Fill an empty ledger with an exported chain (hash and text of every entry), unchanged and in one transaction.

        Returns
        -------
        int : entries written

        Raises
        ------
        InputError : this ledger is not empty, or the chain is not sound; nothing was written
        """
        with writing(self.engine, ENTRY) as connection:
            if StoredBooks(connection).head().seq:
                raise InputError(
                    [Problem("ledger", "entries", say("an empty one"), say("A chain is not mixed with another."))]
                )
            count = insert_entries(connection, rows)
            derive(connection)
            report = audit_store(connection)
            if not report.sound:
                found = [Problem(where, say("as given"), say("a sound chain"), says) for where, says in report.findings]
                raise InputError(found)
        return count


def _post(connection: Connection, books: StoredBooks, draft: Draft, recorded: str) -> Posting:
    posting = prepare(books, draft, recorded)
    if posting.new:
        entry = posting.entry
        connection.execute(ENTRY.insert(), [entry_row(entry, posting.hash, posting.text)])
        _project(connection, entry, posting.effect)
    return posting


def _project(connection: Connection, entry: Entry, effect: Effect) -> None:
    """Bring the derived tables up to an entry that was just written."""
    if isinstance(entry.fact, Opened):
        connection.execute(ACCOUNT.insert(), [account_row(entry, entry.fact.account)])
    elif isinstance(entry.fact, Amended):
        row = account_row(entry, entry.fact.account)
        connection.execute(ACCOUNT.update().where(ACCOUNT.c.id == row.pop("id")).values(**row))
    if entry.legs:
        connection.execute(LEG.insert(), leg_rows(entry, effect))
