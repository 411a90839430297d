"""Random operations on three ledgers at once: in memory, on SQLite and on PostgreSQL.

They must accept the same and refuse the same with the same words, and agree with an oracle that knows nothing of the
ledger's code: it replays the acts that stand and adds up. LOOPWRIGHT_LEDGER_OPERATIONS sets how many operations are
made (the long run: 100,000; its result is in docs/results/ledger.md).
"""

from __future__ import annotations

import os
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest
import sqlalchemy as sa
from databases import Maker
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test
from shop import AT, CYLINDER, legs

from loopwright.errors import InputError
from loopwright.ledger import (
    Account,
    Amended,
    Books,
    Draft,
    Leg,
    Moved,
    Opened,
    Reversed,
    Weighed,
    audit,
    prepare,
)
from loopwright.store import Journal
from loopwright.store.audit import audit_store
from loopwright.store.tables import ACCOUNT, ENTRY, LEG

OPERATIONS = int(os.environ.get("LOOPWRIGHT_LEDGER_OPERATIONS", "400"))
STEPS = 50 if OPERATIONS < 1000 else 100
FREE = ("S", "U", "outside")
DONE: Counter[str] = Counter()

NAMES = st.sampled_from(["S", "U", "outside", "air", "R", "A", "B", "C", "M", "H", "V", "W", "nobody"])
REFRIGERANTS = st.sampled_from(["R134a", "R134a", "R134a", "R1234yf"])
# Few different masses, so that balances meet zero and the edge of their uncertainty often.
MASSES = st.one_of(st.sampled_from([1, 999, 1000, 2000, 3000, 100_000]), st.integers(1, 10**9))
SPREADS = st.sampled_from([0, 0, 1, 500, 1000, 10**7])
SHARES = st.sampled_from([0.1, 0.5, 0.99, 1.0, 1.0, 1.01])
WAYS = ["A>V", "A>V", "V>M", "V>M", "M>V", "V>B", "B>R", "B>M", "V>air", "C>W", "W>U", "H>V", "H>M", "outside>V", "M>R"]
WAYS = [tuple(way.split(">")) for way in WAYS]
STATES = st.sampled_from(["virgin", "reclaimed", "recycled", "recovered", "contaminated"])


@dataclass
class Act:
    """One accepted act, in the oracle's own terms."""

    kind: str
    refrigerant: str = ""
    legs: tuple[tuple[str, int, int], ...] = ()
    found: tuple[str, str, int, int] | None = None  # account, other account, mass, spread
    stands: bool = True


def replay(acts: list[Act]) -> dict[tuple[str, str], tuple[int, int]]:
    """Balances and variances by the plain meaning of the acts that stand."""
    held: defaultdict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0])
    for act in acts:
        if not act.stands:
            continue
        for account, mass, spread in act.legs:
            held[account, act.refrigerant][0] += mass
            held[account, act.refrigerant][1] += spread**2
        if act.found is not None:
            account, against, mass, spread = act.found
            here, there = held[account, act.refrigerant], held[against, act.refrigerant]
            there[0] += here[0] - mass
            there[1] += here[1] + spread**2
            here[:] = [mass, spread**2]
    return {key: (mass, variance) for key, (mass, variance) in held.items()}


class Ledgers(RuleBasedStateMachine):
    makers: tuple[Maker, ...] = ()

    def __init__(self) -> None:
        super().__init__()
        self.books = Books()
        self.chain: list[tuple[str, str]] = []
        self.urls = [maker.ledger() for maker in self.makers]
        self.journals = [Journal(url, clock=lambda: AT) for url in self.urls]
        self.acts: list[Act] = []  # one an entry
        self.last: Draft | None = None
        self.number = 0

    def teardown(self) -> None:
        rows = [list(journal.chain()) for journal in self.journals]
        assert all(chain == self.chain for chain in rows)
        assert audit(self.chain).sound
        for journal, maker, url in zip(self.journals, self.makers, self.urls, strict=True):
            report = journal.verify([self.books.head()])
            assert report.sound, report.findings
            journal.close()
            maker.drop(url)

    @initialize()
    def shop(self) -> None:
        for name, kind, *more in (
            ("S", "supplier"),
            ("U", "unexplained"),
            ("outside", "outside"),
            ("air", "atmosphere"),
            ("R", "reclaimer"),
            ("M", "machine", "R134a", "recycled"),
            ("H", "hoses", "R134a"),
            ("V", "vehicle", "R134a"),
            ("W", "vehicle", "R1234yf"),
        ):
            self.do(Opened(Account(name, kind, *more)), (), Act("open"))
        for name, refrigerant, state in (
            ("A", "R134a", "virgin"),
            ("B", "R134a", "recovered"),
            ("C", "R1234yf", "virgin"),
        ):
            self.do(Opened(Account(name, "cylinder", refrigerant, state, cylinder=CYLINDER)), (), Act("open"))

    def do(self, fact: Any, moved: tuple[Leg, ...], act: Act, note: str = "") -> bool:
        """Post to all three; they must say the same."""
        self.number += 1
        draft = Draft(f"k{self.number}", AT, "Ann", fact, moved, note)
        written = self.everywhere(draft)
        DONE[f"{act.kind} {'written' if written else 'refused'}"] += 1
        if written:
            self.acts.append(act)
            self.last = draft
        return written

    def everywhere(self, draft: Draft) -> bool:
        def said(attempt: Callable[[], Any]) -> Any:
            try:
                return attempt()
            except InputError as error:
                return error.problems

        told = said(lambda: prepare(self.books, draft, AT))
        for journal in self.journals:
            found = said(lambda journal=journal: journal.post([draft])[0])
            assert found == told
        if isinstance(told, tuple) and not hasattr(told, "entry"):
            return False
        if told.new:
            self.books.add(told.entry, told.hash, told.effect)
            self.chain.append((told.hash, told.text))
        return True

    @rule(
        source=NAMES,
        to=NAMES,
        mass=MASSES,
        spread=SPREADS,
        refrigerant=REFRIGERANTS,
        why=st.sampled_from(["", "x"]),
    )
    def move(self, source: str, to: str, mass: int, spread: int, refrigerant: str, why: str) -> None:
        act = Act("move", refrigerant, ((source, -mass, spread), (to, mass, spread)))
        self.do(Moved(refrigerant, "scale", why), legs(source, to, mass, spread), act)

    @rule(to=st.sampled_from(["A", "B", "C", "V", "W"]), mass=MASSES, spread=SPREADS)
    def buy(self, to: str, mass: int, spread: int) -> None:
        account = self.books.accounts[to]
        act = Act("buy", str(account.refrigerant), (("S", -mass, spread), (to, mass, spread)))
        self.do(Moved(act.refrigerant, "label"), legs("S", to, mass, spread), act)

    @rule(way=st.sampled_from(WAYS), share=SHARES, spread=SPREADS)
    def pass_on(self, way: tuple[str, str], share: float, spread: int) -> None:
        """A movement that makes sense, of a share of what is there."""
        source, to = way
        refrigerant = "R1234yf" if "W" in way else "R134a"
        mass = max(1, min(10**9, round(share * abs(self.books.balance(source, refrigerant).mass_mg))))
        act = Act("move", refrigerant, ((source, -mass, spread), (to, mass, spread)))
        self.do(Moved(refrigerant, "scale", "so it was"), legs(source, to, mass, spread), act)

    @rule(a=MASSES, b=MASSES, spread=SPREADS)
    def split(self, a: int, b: int, spread: int) -> None:
        a, b = a % 10**8 + 1, b % 10**8 + 1
        sides = (("A", -a - b, spread), ("V", a, spread), ("H", b, 0))
        moved = tuple(Leg(name, mass, sigma**2) for name, mass, sigma in sides)
        self.do(Moved("R134a", "machine"), moved, Act("split", "R134a", sides))

    @rule(name=NAMES, share=SHARES, spread=SPREADS, against=NAMES, book=st.booleans())
    def weigh(self, name: str, share: float, spread: int, against: str, book: bool) -> None:
        account = self.books.account(name)
        refrigerant = (account.refrigerant if account else None) or "R134a"
        mass = round(share * self.books.balance(name, refrigerant).mass_mg)
        mass = max(-(10**9), min(10**9, mass))
        act = Act("weigh", refrigerant, found=(name, against, mass, spread) if book else None)
        self.do(Weighed(name, refrigerant, mass, spread, against=against if book else None), (), act)

    @rule(back=st.integers(0, 30), any_entry=st.booleans())
    def reverse(self, back: int, any_entry: bool) -> None:
        moving = [i for i, act in enumerate(self.acts, 1) if any_entry or (act.stands and (act.legs or act.found))]
        seq = moving[-1 - back % len(moving)] if moving else 1
        if self.do(Reversed(seq), (), Act("reverse"), note="a mistake"):
            self.acts[seq - 1].stands = False

    @rule(name=st.sampled_from(["A", "B", "C"]), state=STATES, closed=st.booleans())
    def mark(self, name: str, state: Any, closed: bool) -> None:
        refrigerant = self.books.accounts[name].refrigerant
        account = Account(
            name, "cylinder", refrigerant, state, cylinder=CYLINDER, closed=closed and state == "reclaimed"
        )
        self.do(Amended(account), (), Act("mark"))

    @rule()
    def send_again(self) -> None:
        if self.last is not None:
            before = self.books.head()
            assert self.everywhere(self.last)
            assert self.books.head() == before
            DONE["sent again"] += 1

    @rule(source=NAMES, mass=MASSES)
    def two_of_which_one_fails(self, source: str, mass: int) -> None:
        self.number += 1
        good = Draft(f"k{self.number}", AT, "Ann", Moved("R134a", "scale"), legs("S", "A", 1), "")
        bad = Draft(f"k{self.number}b", AT, "Ann", Moved("R134a", "scale"), legs(source, source, mass), "")
        for journal in self.journals:
            with pytest.raises(InputError):
                journal.post([good, bad])
            assert journal.head() == self.books.head()
        DONE["batch refused"] += 1

    @rule()
    def open_anew(self) -> None:
        for journal in self.journals:
            journal.close()
        self.journals = [Journal(url, clock=lambda: AT) for url in self.urls]
        DONE["opened anew"] += 1

    @rule(
        table=st.sampled_from([ENTRY, LEG, ACCOUNT]),
        row=st.integers(0, 1000),
        column=st.integers(0, 10),
        by=st.integers(1, 9),
    )
    def tamper(self, table: sa.Table, row: int, column: int, by: int) -> None:
        """Change one cell behind the ledger's back, look, and take the change back."""
        for journal in self.journals:
            with journal.engine.connect() as connection, connection.begin() as transaction:
                _off(connection)
                keys, cell = list(table.primary_key.columns), list(table.columns)[column % len(table.columns)]
                found = connection.execute(sa.select(*keys, cell).order_by(*keys)).all()
                if found:
                    *key, before = found[row % len(found)]
                    after = (before or 0) + by if not isinstance(before, str) else f"{before}{by}"
                    after = str(by) if before is None and cell.name == "refrigerant" else after
                    where = sa.and_(*(k == v for k, v in zip(keys, key, strict=True)))
                    if _changed(connection, table.update().where(where).values({cell: after})):
                        assert not audit_store(connection).sound, (table.name, key, cell.name, before, after)
                transaction.rollback()
        DONE["tampered, found"] += 1

    @invariant()
    def the_books_balance_and_agree_with_the_oracle(self) -> None:
        expected = replay(self.acts)
        total: Counter[str] = Counter()
        for (name, refrigerant), (mass, variance) in expected.items():
            balance = self.books.balance(name, refrigerant)
            assert (balance.mass_mg, balance.variance_mg2) == (mass, variance)
            total[refrigerant] += mass
            assert name in FREE or mass >= 0 or mass * mass <= 4 * variance
        assert not any(total.values())

    @invariant()
    def the_databases_answer_as_the_books_do(self) -> None:
        held = {(n, r): b for n in self.books.accounts for r, b in self.books.holdings(n).items()}
        for journal in self.journals:
            assert journal.head() == self.books.head()
            if self.number % 5 == 0:
                assert journal.balances() == held


def _off(connection: sa.Connection) -> None:
    """Take the guards off, inside this transaction."""
    postgresql = connection.dialect.name == "postgresql"
    for table in ("ledger_entry", "ledger_leg"):
        connection.exec_driver_sql(f"DROP TRIGGER {table}_update" + (f" ON {table}" if postgresql else ""))


def _changed(connection: sa.Connection, statement: sa.Update) -> bool:
    """Whether the database let it happen; keys that must be unique it guards itself."""
    try:
        with connection.begin_nested():
            connection.execute(statement)
    except sa.exc.IntegrityError:
        return False
    return True


def test_random_operations(sqlite: Maker, postgresql: Maker) -> None:
    DONE.clear()
    Ledgers.makers = (sqlite, postgresql)
    # Without shrinking in the suite: a failure says what was done, and the long run may take its time.
    run_state_machine_as_test(
        Ledgers,
        settings=settings(
            max_examples=max(1, OPERATIONS // STEPS),
            stateful_step_count=STEPS,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            phases=(Phase.generate, Phase.shrink) if OPERATIONS > 1000 else (Phase.generate,),
            database=None,
        ),
    )
    print(f"\n> {sum(DONE.values())} operations: " + ", ".join(f"{n} {what}" for what, n in sorted(DONE.items())))
    assert sum(DONE.values()) >= OPERATIONS // 2
    assert DONE["move written"] + DONE["buy written"] > 0
