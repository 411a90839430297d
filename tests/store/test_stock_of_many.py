"""The whole books in few queries, though there may be a vehicle for every job: the same as account by account."""

from __future__ import annotations

from loopwright.api.ledger import Ledger
from loopwright.ledger import summarise


def stocked(url: str) -> Ledger:
    ledger = Ledger(url, by="Ann")
    ledger.start()
    ledger.open("Supplier", "supplier")
    for refrigerant in ("R134a", "R1234yf"):
        cylinder = f"C {refrigerant}"
        ledger.open_cylinder(cylinder, refrigerant, "virgin", tare_mg=5_000_000, water_capacity_mg=12_000_000)
        ledger.move("Supplier", cylinder, mass_mg=9_000_000, uncertainty_mg=9_000)
        for i in range(5):
            ledger.open(f"V {refrigerant} {i}", "vehicle", refrigerant=refrigerant)
            ledger.move(cylinder, f"V {refrigerant} {i}", mass_mg=500_000 + i, uncertainty_mg=1000 + i)
            if i % 2:
                ledger.move(f"V {refrigerant} {i}", "atmosphere", mass_mg=1000, uncertainty_mg=500, method="estimate")
    ledger.open("Empty", "vehicle", refrigerant="R134a")
    return ledger


def test_the_summary_is_that_of_every_account(url: str) -> None:
    ledger = stocked(url)
    assert ledger.summary() == summarise(ledger.accounts(), ledger.balances())
    assert all(one.total_mg == 0 for one in ledger.summary())
    ledger.close()


def test_the_stock_alone_is_reconciled(url: str) -> None:
    ledger = stocked(url)
    ledger.weigh("C R134a", uncertainty_mg=9_000, found_mg=6_000_000)
    everything = {one.account: one for one in ledger.reconcile().standings}
    stock = ledger.reconcile(("cylinder", "unexplained"))
    assert {one.account for one in stock.standings} == {"C R134a", "C R1234yf"}
    assert all(everything[one.account] == one for one in stock.standings)
    assert stock.booked == ledger.reconcile().booked
    ledger.close()


def test_recovery_books_what_came_with_the_vehicle_once(url: str) -> None:
    ledger = stocked(url)
    ledger.open("Machine", "machine", refrigerant="R134a", state="recycled")
    told = {"mass_mg": 700_000, "uncertainty_mg": 17_000, "key": "k" * 36}
    entry = ledger.recover("V R134a 0", "Machine", **told)
    assert ledger.recover("V R134a 0", "Machine", **told) == entry == ledger.written("k" * 36)
    assert ledger.holdings("outside")["R134a"].mass_mg == -200_000  # the books knew of 500 g
    assert ledger.holdings("V R134a 0")["R134a"].mass_mg == 0
    assert ledger.verify().sound
    ledger.close()
