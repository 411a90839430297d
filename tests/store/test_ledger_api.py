"""The ledger through its Python door."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from shop import AT

from loopwright.api.ledger import BASIC_ACCOUNTS, Equipment, Ledger, Operator, check_export, receipt
from loopwright.errors import InputError

G = 1000


@pytest.fixture
def ledger(url: str) -> Iterator[Ledger]:
    opened = Ledger(url, by="Ann", clock=lambda: AT)
    opened.start()
    opened.open("Gas", "supplier", title="Gas Ltd")
    opened.open_cylinder("A", "r-134a", "virgin", tare_mg=5000 * G, water_capacity_mg=12_000 * G)
    opened.open("Van", "vehicle", refrigerant="R134A")
    opened.move("Gas", "A", mass_mg=10_000 * G, uncertainty_mg=10 * G, method="label")
    yield opened
    opened.close()


def test_a_day_in_the_shop(ledger: Ledger) -> None:
    entry = ledger.move("A", "Van", mass_mg=600 * G, uncertainty_mg=9 * G, job="17", note="label 600 g")
    assert ledger.reverse(entry, why="it was 550") == entry + 1
    ledger.move("A", "Van", mass_mg=550 * G, uncertainty_mg=9 * G, job="17", at="2026-07-01T09:00:00+02:00")
    newest = ledger.history("Van")[0].entry
    assert (newest.at, newest.recorded, newest.by, newest.job) == ("2026-07-01T07:00:00Z", AT, "Ann", "17")
    (summary,) = ledger.summary()
    assert (summary.total_mg, summary.by_kind["vehicle"].mass_mg) == (0, 550 * G)
    assert ledger.verify([ledger.head()]).sound


def test_start_is_harmless_twice(ledger: Ledger) -> None:
    before = ledger.head()
    ledger.start()
    assert ledger.head() == before
    assert {*BASIC_ACCOUNTS} <= {*ledger.accounts()}


def test_a_cylinders_limit_is_the_lowest_rule_where_none_is_given(ledger: Ledger) -> None:
    """0.979 kg of R-134a a kilogram of water capacity: tests/published, table of cylinder fills (80 % at 21 °C)."""
    stamped = ledger.account("A").cylinder
    assert stamped is not None
    assert stamped.fill_limit_mg == pytest.approx(0.979 * 12_000 * G, rel=0.001)  # the table's last digit
    with pytest.raises(InputError, match="overfilled"):
        ledger.move("Gas", "A", mass_mg=2000 * G, uncertainty_mg=10 * G)
    ledger.open_cylinder("B", "R134a", "virgin", tare_mg=1, water_capacity_mg=10**6, fill_limit_mg=5)
    assert ledger.account("B").cylinder.fill_limit_mg == 5  # type: ignore[union-attr]


def test_weighing_gross_or_net(ledger: Ledger) -> None:
    statement = ledger.weigh("A", gross_mg=14_980 * G, uncertainty_mg=10 * G)
    assert (statement.within, statement.unexplained.mass_mg, statement.found.mass_mg) == (True, -20 * G, 9980 * G)
    assert ledger.holdings("A")["R134a"].mass_mg == 10_000 * G
    statement = ledger.weigh("A", found_mg=9000 * G, uncertainty_mg=10 * G, against="unexplained")
    assert not statement.within
    assert ledger.holdings("A")["R134a"].mass_mg == 9000 * G
    assert ledger.holdings("unexplained")["R134a"].mass_mg == 1000 * G
    for masses in ({}, {"gross_mg": 1, "found_mg": 1}):
        with pytest.raises(InputError, match="One mass is needed"):
            ledger.weigh("A", uncertainty_mg=1, **masses)
    with pytest.raises(InputError, match="No tare is known"):
        ledger.weigh("Van", gross_mg=1, uncertainty_mg=1)


def test_amending_one_thing_keeps_the_others(ledger: Ledger) -> None:
    ledger.amend("A", requalification_due="2031-07-01", state="recovered", note="tested")
    account = ledger.account("A")
    assert account.cylinder is not None
    assert (account.state, account.cylinder.requalification_due, account.cylinder.tare_mg) == (
        "recovered",
        "2031-07-01",
        5000 * G,
    )
    with pytest.raises(InputError, match="No such field"):
        ledger.amend("A", colour="blue")
    with pytest.raises(InputError, match="Only a cylinder has that"):
        ledger.amend("Van", tare_mg=1)


def test_records_and_their_gaps(ledger: Ledger) -> None:
    ledger.open("M", "machine", refrigerant="R134a", state="recycled", equipment=Equipment("a", "b", "c", "d"))
    assert "The operator Ann has no certificate, no proof in the ledger." in ledger.records("us_federal").gaps
    ledger.register(Operator("Ann", certificate="7", proof="binder"))
    assert ledger.records("us_federal").gaps == ()
    assert {row["certificate"] for row in ledger.movements()} == {"7"}


def test_the_refrigerant_is_told_by_the_accounts_or_by_the_person(ledger: Ledger) -> None:
    ledger.move("Van", "atmosphere", mass_mg=1, uncertainty_mg=1, method="estimate")
    ledger.move("Gas", "outside", mass_mg=1, uncertainty_mg=1, refrigerant="r1234YF")
    assert "R1234yf" in ledger.holdings("outside")
    with pytest.raises(InputError, match="Neither account tells it"):
        ledger.move("Gas", "outside", mass_mg=1, uncertainty_mg=1)


def test_an_export_is_verified_without_the_database_and_fills_another(ledger: Ledger, url: str, make: object) -> None:
    lines = list(ledger.export())
    report = check_export(lines, [ledger.head()])
    assert (report.sound, report.head) == (True, ledger.head())
    changed = [line.replace("-10000000", "-9000000") for line in lines]
    assert not check_export(changed).sound
    copy = Ledger(make.ledger(), by="Bob", clock=lambda: AT)  # type: ignore[attr-defined]
    assert copy.load(lines) == len(lines)
    assert copy.balances() == ledger.balances()
    copy.close()
    with pytest.raises(InputError, match="line 1"):
        check_export(["{}"])


@pytest.mark.parametrize("written", ["", "12", "x:" + "0" * 64, "12:" + "0" * 63, "12:" + "G" * 64])
def test_no_receipt(written: str) -> None:
    with pytest.raises(InputError, match="Not a receipt"):
        receipt(written)


def test_labels(ledger: Ledger) -> None:
    assert ledger.label("A").splitlines()[-3:] == ["virgin", "Tare 5000 g", ledger.label("A").splitlines()[-1]]
    assert ledger.label("A", "svg").startswith("<svg")
    with pytest.raises(InputError, match="text or svg"):
        ledger.label("A", "pdf")
