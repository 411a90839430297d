"""A weighing against the books, and the books as a whole."""

from __future__ import annotations

import pytest
from shop import OPENING, kept

from loopwright.ledger import Balance, Books, Weighed, reconcile, summarise
from loopwright.ledger.reconcile import stand

G = 1000


@pytest.mark.parametrize(
    ("found", "spread", "booked", "booked_spread", "within", "says"),
    [
        (9500, 20, 9500, 30, True, "they agree."),
        # The difference's uncertainty is that of both: sqrt(30² + 40²) = 50 g, and twice that is the limit.
        (9400, 40, 9500, 30, True, "100.0 g are missing, within what is uncertain (100.0 g)."),
        (9399.999, 40, 9500, 30, False, "100.0 g are missing, 2.0 standard uncertainties: unexplained."),
        (9650, 40, 9500, 30, False, "150.0 g are too many, 3.0 standard uncertainties: unexplained."),
        (10, 0, 9, 0, False, "1.0 g are too many, and nothing is uncertain: unexplained."),
    ],
)
def test_the_difference_is_judged_by_both_uncertainties(
    found: float, spread: float, booked: float, booked_spread: float, within: bool, says: str
) -> None:
    weighed = Weighed("A", "R134a", round(found * G), round(spread * G))
    statement = reconcile(weighed, Balance(round(booked * G), round(booked_spread * G) ** 2))
    assert statement.within is within
    assert statement.says.endswith(says)


def test_the_kinds_of_account_add_up_to_nothing() -> None:
    books, _ = kept(OPENING, "V > M 470 15", "V > air 20 10")
    balances = {(name, r): b for name in books.accounts for r, b in books.holdings(name).items()}
    (summary,) = summarise(books.accounts, balances)
    assert summary.refrigerant == "R134a"
    assert {kind: b.mass_mg // G for kind, b in summary.by_kind.items()} == {
        "supplier": -10000,
        "cylinder": 9500,
        "machine": 470,
        "vehicle": 10,
        "atmosphere": 20,
    }
    assert summary.total_mg == 0


def test_the_stock_stands_against_the_last_weighing_of_each_account() -> None:
    """A is weighed twice, the second time booked; V and M never; what is booked is what A lacked."""
    books, postings = kept(OPENING, "weigh A 9400 20", "weigh A 9300 20 against U", "A > V 300 5", "V > M 400 15")
    balances = {(name, r): b for name in books.accounts for r, b in books.holdings(name).items()}
    weighings = {
        (p.entry.fact.account, p.entry.fact.refrigerant): p.entry for p in postings if isinstance(p.entry.fact, Weighed)
    }

    def before(account: str, refrigerant: str, seq: int) -> Balance:
        early = Books()
        for posting in postings[: seq - 1]:
            early.add(posting.entry)
        return early.balance(account, refrigerant)

    found = stand(books.accounts, balances, weighings, before)
    by_name = {s.account: s for s in found.standings}
    assert set(by_name) == {"A", "M", "V"}
    a = by_name["A"]
    assert (a.entry, a.against, a.balance.mass_mg) == (10, "U", 9000 * G)
    assert a.statement is not None
    assert (a.statement.booked.mass_mg, a.statement.unexplained.mass_mg) == (9500 * G, -200 * G)
    assert {name: b.mass_mg for name, b in found.booked.items()} == {"R134a": 200 * G}
    assert found.beyond == ()
    assert [s.account for s in found.unweighed] == ["M", "V"]
    open_ = stand(books.accounts, balances, {("A", "R134a"): postings[8].entry}, before)
    assert [s.account for s in open_.beyond] == ["A"]
