"""The refrigerant of the demo shop: invented cylinders, and what its service took out and put in, in the ledger."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from loopwright.api.ledger import Equipment, Ledger, Operator
from loopwright.api.service_job import replay
from loopwright.api.service_ledger import Wanted, book, vehicle_account
from loopwright.service.procedure import Noted, derive

if TYPE_CHECKING:
    from loopwright.api.shop import Shop, StoredJob
    from loopwright.ledger.values import State

__all__ = ["load_books"]

_TARE, _WATER, _FULL = 7_700_000, 21_600_000, 17_000_000  # mg, as might be stamped on a cylinder
_MACHINE = Equipment("Own make", "RR 1", "0007", "2021-05", "SAE J2788")


def load_books(shop: Shop) -> int:
    """Fill a ledger that is empty yet; return the number of its last entry, none where there is something already."""
    ledger = Ledger(shop.engine, by="Kim", clock=shop.clock)
    if ledger.head().seq:
        return 0
    today = datetime.fromisoformat(shop.clock()).astimezone(UTC)
    _stock(ledger, today)
    for row in shop.records.jobs():
        stored = shop.job(row.id)
        if stored.state.service:
            _serviced(ledger, stored)
    ledger.weigh("C-04", uncertainty_mg=9_000, gross_mg=_TARE + 345_000, note="at closing time")
    return ledger.head().seq


def _stock(ledger: Ledger, today: datetime) -> None:
    """What stood in the shop before the first job."""
    before = (today - timedelta(days=400)).isoformat()
    soon, late, past = ((today + timedelta(days=days)).date().isoformat() for days in (30, 900, -20))
    ledger.start()
    ledger.register(Operator("Kim", "", "0001", "2024-03-01", "A-12"))
    ledger.open("Supplier", "supplier", title="Own Invention Gases", address="1 Nowhere Street")
    ledger.open("Reclaimer", "reclaimer", title="Own Invention Reclaim", address="2 Nowhere Street")
    ledger.open("Machine 1", "machine", refrigerant="R134a", state="recycled", equipment=_MACHINE, address="bay 1")
    ledger.open("Hoses 1", "hoses", refrigerant="R134a")
    cylinders: tuple[tuple[str, str, State, str], ...] = (
        ("C-01", "R134a", "virgin", late),
        ("C-02", "R1234yf", "virgin", soon),
        ("C-04", "R134a", "recovered", late),
        ("C-05", "R134a", "contaminated", past),
    )
    for name, refrigerant, state, due in cylinders:
        ledger.open_cylinder(
            name,
            refrigerant,
            state,
            tare_mg=_TARE,
            water_capacity_mg=_WATER,
            fill_limit_mg=_FULL,
            requalification_due=due,
        )
    for name in ("C-01", "C-02"):
        ledger.move("Supplier", name, mass_mg=12_000_000, uncertainty_mg=9_000, at=before, note="delivered")


def _serviced(ledger: Ledger, stored: StoredJob) -> None:
    """What the steps of a service wrote down, as its page would have booked it."""
    kept = replay(stored.state.service)
    noted = {event.record: event for event in kept.events if isinstance(event, Noted)}
    refrigerant, vehicle = derive(kept.events).job.refrigerant, vehicle_account(stored.vehicle)
    for record, source, target, method in (
        ("recovered_mass", vehicle, "C-04", "machine"),
        ("charged_mass", "C-01", vehicle, "scale"),
    ):
        event = noted.get(record)
        if event is not None and isinstance(event.value, float):
            at = datetime.fromtimestamp(event.at, UTC).isoformat()
            wanted = Wanted(source, target, f"{event.value} kg", method)
            book(ledger, stored, refrigerant, wanted, key=f"demo-{stored.id[:8]}-{record[:9]}", at=at)
