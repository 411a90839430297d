"""A weighing against the books, and the books as a whole."""

from __future__ import annotations

import pytest
from shop import OPENING, kept

from loopwright.ledger import Balance, Weighed, reconcile, summarise

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
