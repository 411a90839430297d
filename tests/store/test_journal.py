"""The ledger in a database behaves like the books in memory, and alike on both databases."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator

import pytest
from databases import Maker
from shop import AT, OPENING, draft, kept, lines, rows

from loopwright.errors import InputError
from loopwright.ledger import Account, Balance, Draft, Head, Operator, Registered, audit
from loopwright.store import Journal, connect

SHOP = (OPENING, "V > M 470 15", "weigh A 9400 20 against U", "reverse 9", "A > V 20 5")


@pytest.fixture
def journal(url: str) -> Iterator[Journal]:
    opened = Journal(url, clock=lambda: AT)
    yield opened
    opened.close()


def test_the_database_holds_what_the_books_in_memory_hold(journal: Journal) -> None:
    books, postings = kept(*SHOP)
    journal.post(Draft(p.entry.key, AT, "Ann", p.entry.fact, p.entry.legs, p.entry.note) for p in postings)
    assert journal.head() == books.head()
    assert list(journal.chain()) == rows(postings)
    assert journal.accounts() == books.accounts
    assert journal.balances() == {(n, r): b for n in books.accounts for r, b in books.holdings(n).items()}
    assert journal.verify([Head(3, postings[2].hash)]).sound


def test_balances_of_any_time(journal: Journal) -> None:
    journal.post(draft(line) for line in lines(OPENING))
    journal.post([draft("weigh A 9400 20 against U")])
    assert [journal.balance("A", "R134a", upto=n).mass_mg // 1000 for n in (6, 7, 8, 9)] == [0, 10000, 9500, 9400]
    assert journal.balance("A", "R134a") == Balance(9_400_000, 400_000_000)
    assert journal.balance("A", "R22") == journal.balance("nobody", "R134a") == Balance()


def test_history_is_the_newest_first(journal: Journal) -> None:
    journal.post(draft(line) for line in lines(OPENING))
    journal.post(draft(f"A > V {n} 0") for n in range(1, 21))
    newest = journal.history("V", newest=3)
    assert [line.mass_mg for line in newest] == [20_000, 19_000, 18_000]
    assert newest[0].balance.mass_mg == journal.balance("V", "R134a").mass_mg
    assert [line.mass_mg for line in journal.history("V", 2, before=newest[-1].entry.seq)] == [17_000, 16_000]
    assert len(journal.history("V")) == 21
    assert journal.history("nobody") == []


def test_a_history_of_two_refrigerants_is_in_order(journal: Journal) -> None:
    journal.post(draft(line) for line in lines(OPENING))
    journal.post(
        [draft("open cylinder B R22 virgin"), draft("S > B 9 0 R22"), draft("S > A 8 0"), draft("S > B 7 0 R22")]
    )
    assert [line.mass_mg for line in journal.history("S", 4)] == [-7000, -8000, -9000, -10_000_000]
    assert dict(journal.holdings("S")).keys() == {"R134a", "R22"}


def test_all_or_none(journal: Journal) -> None:
    with pytest.raises(InputError, match="no such account"):
        journal.post(draft(line) for line in [*lines(OPENING), "A > B 1 0"])
    assert (journal.head().seq, journal.accounts()) == (0, {})


def test_sent_again_after_a_lost_answer_it_is_written_once(journal: Journal) -> None:
    journal.post(draft(line) for line in lines(OPENING))
    (first,) = journal.post([draft("A > V 5 1", key="once")])
    (again,) = journal.post([draft("A > V 5 1", key="once")])
    assert (first.new, again.new, again.entry) == (True, False, first.entry)
    with pytest.raises(InputError, match="stands for another"):
        journal.post([draft("A > V 6 1", key="once")])
    assert journal.head().seq == 9


def test_accounts_and_operators_as_last_told(journal: Journal) -> None:
    books, _ = kept("open cylinder A R134a recovered")
    journal.post([draft("open cylinder A R134a recovered"), draft("mark A recycled", books)])
    journal.post([Draft(k, AT, "Ann", Registered(Operator("Bob", certificate=k))) for k in ("1", "2")])
    assert journal.account("A").state == "recycled"
    assert journal.operators()["Bob"].certificate == "2"
    with pytest.raises(InputError, match="no such account"):
        journal.account("B")


def test_it_opens_again_with_all_it_held(url: str, journal: Journal) -> None:
    journal.post(draft(line) for line in lines(OPENING))
    again = Journal(url)
    assert again.head() == journal.head()
    assert again.verify().sound
    again.close()


def test_the_database_itself_refuses_to_change_or_delete(journal: Journal) -> None:
    journal.post(draft(line) for line in lines(OPENING))
    statements = [f"{act} ledger_{table}" for table in ("entry", "leg") for act in ("DELETE FROM", "UPDATE")]
    if journal.engine.dialect.name == "postgresql":
        statements += ["TRUNCATE ledger_entry", "TRUNCATE ledger_leg"]
    for statement in statements:
        full = f"{statement} SET seq = seq + 100" if statement.startswith("UPDATE") else statement
        with pytest.raises(Exception, match="append-only"), journal.engine.begin() as connection:
            connection.exec_driver_sql(full)


def test_an_exported_chain_fills_an_empty_ledger_of_either_kind_unchanged(
    journal: Journal, sqlite: Maker, postgresql: Maker
) -> None:
    journal.post(draft(line) for line in lines("\n".join(SHOP)))
    exported = list(journal.chain())
    for maker in (sqlite, postgresql):
        copy = Journal(maker.ledger(), clock=lambda: AT)
        assert copy.load(exported) == 12
        assert (copy.head(), copy.balances()) == (journal.head(), journal.balances())
        with pytest.raises(InputError, match="not mixed with another"):
            copy.load(exported)
        assert copy.post([draft("A > V 5 1")])[0].entry.seq == 13
        copy.close()


def test_a_tampered_chain_is_not_loaded(journal: Journal) -> None:
    _, postings = kept(*SHOP)
    chain = rows(postings)
    chain[7] = (chain[7][0], chain[7][1].replace("500000", "400000"))
    with pytest.raises(InputError, match="entry 8"):
        journal.load(chain)
    with pytest.raises(InputError, match="Its text is no entry"):
        journal.load([("", "[]")])
    assert journal.head().seq == 0


def test_the_two_databases_write_the_same_chain(sqlite: Maker, postgresql: Maker) -> None:
    names = ["Ä 1", "a", "B", "b", "Z", "ß", "é"]  # whose order would differ by language
    drafts = [draft(f"open supplier {name.replace(' ', '_')}", key=f"k{name}") for name in names]
    shop = [draft(line, key=f"s{i}") for i, line in enumerate(lines("\n".join(SHOP)))]
    left, right = (Journal(maker.ledger(), clock=lambda: AT) for maker in (sqlite, postgresql))
    for journal in (left, right):
        journal.post([*shop, *drafts])
    assert list(left.chain()) == list(right.chain())
    assert list(left.accounts()) == list(right.accounts())
    assert list(left.balances().items()) == list(right.balances().items())
    assert audit(left.chain()).sound
    left.close()
    right.close()


@pytest.mark.parametrize("where", ["mysql://host/name", "nonsense://x", "://"])
def test_no_other_kind_of_database(where: str) -> None:
    with pytest.raises(InputError, match="No such kind of database"):
        connect(where)


def test_opening_a_ledger_that_is_up_to_date_loads_no_migration_tool(sqlite: Maker) -> None:
    code = "import sys; from loopwright.store import Journal; Journal(sys.argv[1]); print('alembic' in sys.modules)"
    answer = subprocess.run(
        [sys.executable, "-c", code, sqlite.ledger()], capture_output=True, text=True, check=True, timeout=60
    )
    assert answer.stdout.strip() == "False"


def test_accounts_are_frozen(journal: Journal) -> None:
    journal.post([draft("open supplier S")])
    with pytest.raises(AttributeError):
        journal.account("S").name = "other"  # type: ignore[misc]
    assert journal.account("S") == Account("S", "supplier")
