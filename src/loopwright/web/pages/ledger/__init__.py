"""The refrigerant ledger: who holds what and how surely, each account's history, the stock against the scale."""

from __future__ import annotations

from datetime import date

from fastapi import APIRouter, Request
from starlette.responses import Response

from loopwright.api.ledger import Ledger
from loopwright.language import later, say
from loopwright.web.books import ledger_of, weighed
from loopwright.web.pages.ledger import acts, out
from loopwright.web.pages.ledger.forms import KINDS
from loopwright.web.pages.ledger.show import account_shown, lines_shown
from loopwright.web.render import page
from loopwright.web.security import me, needs

__all__ = ["router"]

router = APIRouter()
router.include_router(acts.router)
router.include_router(out.router)
STOCK = {"cylinder": later("Cylinders"), "machine": later("Machines"), "hoses": later("Service hoses")}
OTHERS = ("supplier", "reclaimer", "destruction", "atmosphere", "outside", "unexplained")
LINES = 30
_FOUND = 50  # vehicles of a search


@router.get("/ledger", dependencies=[needs("trainee")])
def overview(request: Request, vehicle: str = "", closed: str = "") -> Response:
    """Show what is in stock, and where refrigerant came from and went."""
    ledger = ledger_of(request)
    unit, today = me(request).preferences.mass, _today(request)
    accounts = ledger.accounts((*STOCK, *OTHERS))
    shown = [
        account_shown(account, ledger.holdings(name), unit, today)
        for name, account in accounts.items()
        if closed or not account.closed
    ]
    stock = [(say(title), [one for one in shown if one.account.kind == kind]) for kind, title in STOCK.items()]
    return page(
        request,
        "ledger/list.html",
        stock=[(title, rows) for title, rows in stock if rows],
        others=[one for one in shown if one.account.kind in OTHERS],
        search=vehicle,
        vehicles=_vehicles(ledger, vehicle, unit, today) if vehicle.strip() else None,
    )


def _vehicles(ledger: Ledger, search: str, unit: str, today: date) -> list[object]:
    words = search.casefold().split()
    found = [
        account
        for account in ledger.accounts(("vehicle",)).values()
        if all(word in f"{account.id} {account.name}".casefold() for word in words)
    ]
    return [account_shown(account, ledger.holdings(account.id), unit, today) for account in found[:_FOUND]]


@router.get("/ledger/account", dependencies=[needs("trainee")])
def one_account(request: Request, name: str, before: int | None = None) -> Response:
    """Show one account: what it holds, what it is, and its lines, newest first."""
    ledger = ledger_of(request)
    account = acts.known(ledger, name)
    unit = me(request).preferences.mass
    lines = ledger.history(name, LINES + 1, before)
    return page(
        request,
        "ledger/account.html",
        shown=account_shown(account, ledger.holdings(name), unit, _today(request)),
        lines=lines_shown(ledger, lines[:LINES], unit),
        older=lines[LINES - 1].entry.seq if len(lines) > LINES else None,
        holds=account.kind in (*STOCK, "vehicle"),
        weighings=ledger.statements(name),
    )


@router.get("/ledger/reconcile", dependencies=[needs("trainee")])
def reconcile(request: Request) -> Response:
    """Set the whole stock against the scale."""
    ledger, unit = ledger_of(request), me(request).preferences.mass
    found = ledger.reconcile((*STOCK, "unexplained"))  # nobody puts a vehicle on a scale
    booked = [(name, weighed(b.mass_mg, unit, b.uncertainty_mg)) for name, b in found.booked.items() if b.mass_mg]
    return page(
        request,
        "ledger/reconcile.html",
        found=found,
        booked=booked,
        summary=_summary(request, unit),
    )


def _summary(request: Request, unit: str) -> list[tuple[str, list[tuple[str, str]], bool]]:
    """Each refrigerant by kind of account, and whether it adds up to zero as it must."""
    return [
        (
            one.refrigerant,
            [(say(KINDS[kind]), weighed(b.mass_mg, unit, b.uncertainty_mg)) for kind, b in one.by_kind.items()],
            one.total_mg == 0,
        )
        for one in ledger_of(request).summary()
    ]


def _today(request: Request) -> date:
    return date.fromisoformat(request.app.state.shop.clock()[:10])
