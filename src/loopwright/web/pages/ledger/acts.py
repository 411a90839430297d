"""What may be done in the ledger: move, weigh, take back, open and amend accounts, register who handles refrigerant."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import RedirectResponse, Response

from loopwright.api.ledger import Account, Equipment, Ledger, Operator, Statement
from loopwright.errors import InputError, Problem
from loopwright.language import later, say
from loopwright.web.books import ledger_of, weighed
from loopwright.web.pages.ledger.forms import (
    KINDS,
    FormShown,
    amend_form,
    field,
    filled,
    key,
    masses,
    moment_of,
    move_form,
    open_form,
    sure,
    weigh_form,
)
from loopwright.web.pages.ledger.show import when
from loopwright.web.render import page
from loopwright.web.security import me, needs

__all__ = ["known", "router"]

router = APIRouter()
OPENED = ("cylinder", "machine", "hoses", "supplier", "reclaimer", "destruction")
_LONGEST = 400
Typed = Mapping[str, str]


def _typed(request: Request) -> dict[str, str]:
    """What the form holds; the check that it was ours has read it already."""
    form = request.state.form
    return {name: str(value)[:_LONGEST].strip() for name, value in form.items() if isinstance(value, str)}


def _form(request: Request, title: str, form: FormShown, action: str, **more: Any) -> Response:
    status = 422 if form.problems or form.others else 200
    told = {"says": "", "button": say("Keep"), "caution": "", **more}
    return page(request, "ledger/form.html", status_code=status, title=title, form=form, action=action, **told)


def _there(name: str) -> Response:
    return RedirectResponse(f"/ledger/account?name={quote(name)}", 303)


# --- move


@router.get("/ledger/move", dependencies=[needs("technician")])
def ask_move(request: Request, source: str = "", target: str = "") -> Response:
    """Ask what moves from where to where; a link may have filled in mass, method and job."""
    ledger = ledger_of(request)
    form = move_form(ledger, me(request), _open(ledger, source), _open(ledger, target))
    told = {name: text[:_LONGEST] for name in ("mass", "method", "job") if (text := request.query_params.get(name, ""))}
    return _move(request, filled(form, told))


@router.post("/ledger/move", dependencies=[needs("technician")])
def move(request: Request) -> Response:
    """Book a movement; the form sent twice books it once."""
    ledger, typed = ledger_of(request), _typed(request)
    if ledger.written(typed.get("key", "")) is None:
        try:
            _moved(ledger, typed)
        except InputError as error:
            chosen = _open(ledger, typed.get("source", "")), _open(ledger, typed.get("target", ""))
            return _move(request, filled(move_form(ledger, me(request), *chosen), typed, error))
    return _there(typed["target"])


def _open(ledger: Ledger, name: str) -> str:
    """The name again if it is one of an account."""
    try:
        return ledger.account(name).id if name else ""
    except InputError:
        return ""


def _move(request: Request, form: FormShown) -> Response:
    caution = say(
        "What escaped is booked into the air as an estimate. Releasing it on purpose is unlawful in most places."
    )
    return _form(request, say("Book a movement"), form, "/ledger/move", button=say("Book it"), caution=caution)


def _moved(ledger: Ledger, typed: Typed) -> None:
    ledger.start()
    missing = [
        Problem(name, say("nothing"), say("an account"), say("Missing."))
        for name in ("source", "target")
        if not typed.get(name)
    ]
    if missing:
        raise InputError(missing)
    mass = masses(typed, ("mass",), ("mass",))["mass"]
    method: Any = typed.get("method", "")
    told: dict[str, Any] = {
        "mass_mg": mass,
        "uncertainty_mg": sure(mass, method, typed),
        "method": method,
        "deviation": typed.get("deviation", ""),
        "note": typed.get("note", ""),
        "job": typed.get("job", ""),
        "key": typed.get("key", ""),
        "at": moment_of(typed.get("at", "")),
    }
    source, target = ledger.account(typed["source"]), ledger.account(typed["target"])
    if source.kind == "vehicle" and target.kind in ("cylinder", "machine"):
        ledger.recover(source.id, target.id, **told)
    else:
        ledger.move(source.id, target.id, refrigerant=typed.get("refrigerant") or None, **told)


# --- weigh


@router.get("/ledger/weigh", dependencies=[needs("technician")])
def ask_weigh(request: Request, name: str) -> Response:
    """Ask what the scale shows."""
    account = known(ledger_of(request), name)
    return _weigh(request, account, weigh_form(me(request), account))


@router.post("/ledger/weigh", dependencies=[needs("technician")])
def weigh(request: Request, name: str) -> Response:
    """Record a scale reading, and say how it stands to the books."""
    ledger, typed = ledger_of(request), _typed(request)
    account = known(ledger, name)
    if ledger.written(typed.get("key", "")) is not None:
        return _there(name)
    try:
        statement = _weighed(ledger, account, typed)
    except InputError as error:
        return _weigh(request, account, filled(weigh_form(me(request), account), typed, error))
    return page(
        request, "ledger/weighed.html", account=account, statement=statement, rows=_compared(request, statement)
    )


def _weigh(request: Request, account: Account, form: FormShown) -> Response:
    title = say("Weigh {account}", account=account.id)
    return _form(request, title, form, f"/ledger/weigh?name={quote(account.id)}", account=account)


def _weighed(ledger: Ledger, account: Account, typed: Typed) -> Statement:
    ledger.start()
    found = masses(typed, ("mass",), ("mass",))["mass"]
    way = "gross_mg" if account.cylinder is not None else "found_mg"
    return ledger.weigh(
        account.id,
        uncertainty_mg=sure(found, "scale", typed),
        against=typed.get("against") or None,
        at=moment_of(typed.get("at", "")),
        note=typed.get("note", ""),
        key=typed.get("key", ""),
        **{way: found},
    )


def _compared(request: Request, statement: Statement) -> list[tuple[str, str]]:
    unit = me(request).preferences.mass
    rows = (
        (say("Found by the scale"), statement.found),
        (say("By the books"), statement.booked),
        (say("Difference"), statement.unexplained),
    )
    return [(label, weighed(balance.mass_mg, unit, balance.uncertainty_mg)) for label, balance in rows]


# --- take back


@router.get("/ledger/reverse", dependencies=[needs("technician")])
def ask_reverse(request: Request, entry: int) -> Response:
    """Ask why an entry is taken back."""
    return _reverse(request, entry, _reason())


@router.post("/ledger/reverse", dependencies=[needs("technician")])
def reverse(request: Request, entry: int) -> Response:
    """Take an entry back by a new one."""
    ledger, typed = ledger_of(request), _typed(request)
    if ledger.written(typed.get("key", "")) is None:
        try:
            ledger.reverse(entry, why=typed.get("note", ""), key=typed.get("key", ""))
        except InputError as error:
            return _reverse(request, entry, filled(_reason(), typed, error))
    taken = ledger.entry(entry)
    return _there(taken.legs[-1].account) if taken and taken.legs else RedirectResponse("/ledger", 303)


def _reason() -> FormShown:
    return FormShown(
        (field("note", later("Why it is taken back"), help_=later("it stays on record with your name")),), (), key()
    )


def _reverse(request: Request, number: int, form: FormShown) -> Response:
    entry, unit = ledger_of(request).entry(number) if 0 < number < 2**62 else None, me(request).preferences.mass
    if entry is None or not entry.legs:
        raise HTTPException(404, say("There is no entry of that number that moved anything."))
    legs = [f"{leg.account}: {'+' if leg.mass_mg > 0 else ''}{weighed(leg.mass_mg, unit)}" for leg in entry.legs]
    says = f"{when(entry.at)}, {entry.by} · {' · '.join(legs)}"
    title = say("Take back entry {entry}", entry=number)
    return _form(request, title, form, f"/ledger/reverse?entry={number}", says=says, button=say("Take it back"))


# --- accounts


@router.get("/ledger/open", dependencies=[needs("owner")])
def ask_open(request: Request, kind: str = "") -> Response:
    """Ask what kind of account to open, and then about it."""
    if kind not in OPENED:
        return page(request, "ledger/kinds.html", kinds=[(one, say(KINDS[one])) for one in OPENED])
    return _opening(request, kind, open_form(kind, me(request)))


@router.post("/ledger/open", dependencies=[needs("owner")])
def open_account(request: Request, kind: str) -> Response:
    """Open an account.

    Raises
    ------
    HTTPException : no kind that is opened here (404)
    """
    ledger, typed = ledger_of(request), _typed(request)
    if kind not in OPENED:
        raise HTTPException(404)
    if ledger.written(typed.get("key", "")) is None:
        try:
            ledger.start()
            (_open_cylinder if kind == "cylinder" else _open_other)(ledger, kind, typed)
        except InputError as error:
            return _opening(request, kind, filled(open_form(kind, me(request)), typed, error))
    return _there(typed.get("name", ""))


def _opening(request: Request, kind: str, form: FormShown) -> Response:
    title = say("Open: {kind}", kind=say(KINDS[kind]))
    return _form(request, title, form, f"/ledger/open?kind={kind}", button=say("Open it"))


def _open_cylinder(ledger: Ledger, kind: str, typed: Typed) -> None:
    found = masses(typed, ("tare", "water_capacity", "fill_limit"), ("tare", "water_capacity"))
    ledger.open_cylinder(
        typed.get("name", ""),
        typed.get("refrigerant", ""),
        typed.get("state", ""),  # type: ignore[arg-type]  # the ledger checks it
        tare_mg=found["tare"],
        water_capacity_mg=found["water_capacity"],
        type="disposable" if typed.get("type") == "disposable" else "refillable",
        fill_limit_mg=found.get("fill_limit"),
        requalification_due=typed.get("requalification_due", ""),
        specification=typed.get("specification", ""),
        serial=typed.get("serial", ""),
        key=typed.get("key", ""),
    )


def _open_other(ledger: Ledger, kind: Any, typed: Typed) -> None:
    made = [typed.get(name, "") for name in ("make", "model", "serial", "manufactured", "standard")]
    ledger.open(
        typed.get("name", ""),
        kind,
        refrigerant=typed.get("refrigerant") if kind in ("machine", "hoses") else None,
        state=(typed.get("state") or None) if kind == "machine" else None,  # type: ignore[arg-type]  # the ledger checks it
        title=typed.get("title", ""),
        address=typed.get("address", ""),
        equipment=Equipment(*made) if kind == "machine" else None,
        key=typed.get("key", ""),
    )


@router.get("/ledger/amend", dependencies=[needs("owner")])
def ask_amend(request: Request, name: str) -> Response:
    """Ask what changed about an account."""
    account = known(ledger_of(request), name)
    return _amend(request, account, amend_form(account, me(request)))


@router.post("/ledger/amend", dependencies=[needs("owner")])
def amend(request: Request, name: str) -> Response:
    """Keep what changed about an account, as a numbered entry like any other."""
    ledger, typed = ledger_of(request), _typed(request)
    account = known(ledger, name)
    try:
        changes = _changes(account, typed)
        if changes:
            ledger.amend(name, note=typed.get("note", ""), **changes)
    except InputError as error:
        return _amend(request, account, filled(amend_form(account, me(request)), typed, error))
    return _there(name)


def _amend(request: Request, account: Account, form: FormShown) -> Response:
    title = say("Change {account}", account=account.id)
    return _form(request, title, form, f"/ledger/amend?name={quote(account.id)}")


def _changes(account: Account, typed: Typed) -> dict[str, Any]:
    """What differs from what is known."""
    wanted: dict[str, Any] = {
        "name": typed.get("title", ""),
        "address": typed.get("address", ""),
        "closed": bool(typed.get("closed")),
    }
    if typed.get("state"):
        wanted["state"] = typed["state"]
    found = {name: value for name, value in wanted.items() if value != getattr(account, name)}
    if account.cylinder is not None:
        due = typed.get("requalification_due", "")
        if due != account.cylinder.requalification_due:
            found["requalification_due"] = due
        limit = masses(typed, ("fill_limit",), ()).get("fill_limit")
        if limit is not None and limit != account.cylinder.fill_limit_mg:
            found["fill_limit_mg"] = limit
    return found


def known(ledger: Ledger, name: str) -> Account:
    """Return an account.

    Raises
    ------
    HTTPException : there is none of that name (404)
    """
    try:
        return ledger.account(name)
    except InputError as error:
        raise HTTPException(404, say("There is no such account.")) from error


# --- people


@router.get("/ledger/operators", dependencies=[needs("owner")])
def operators(request: Request) -> Response:
    """Show who handles refrigerant, with the proof that they may."""
    return _people(request, _operator_form())


@router.post("/ledger/operators", dependencies=[needs("owner")])
def register(request: Request) -> Response:
    """Record who may handle refrigerant, and where the proof is kept.

    Raises
    ------
    InputError : without a name; told on the page
    """
    typed = _typed(request)
    names = ("operator", "programme", "certificate", "issued", "proof")
    try:
        if not typed.get("operator"):
            raise InputError([Problem("operator", say("nothing"), say("a name"), say("Missing."))])
        ledger_of(request).register(Operator(*(typed.get(name, "") for name in names)))
    except InputError as error:
        return _people(request, filled(_operator_form(), typed, error))
    return RedirectResponse("/ledger/operators", 303)


def _operator_form() -> FormShown:
    return FormShown(
        (
            field("operator", later("Name"), help_=later("as the person signs here")),
            field("certificate", later("Number of the certificate"), required=False),
            field("programme", later("Who certified"), required=False),
            field("issued", later("Issued"), "date", required=False),
            field("proof", later("Where the proof is kept"), required=False),
        ),
        (),
        key(),
    )


def _people(request: Request, form: FormShown) -> Response:
    status = 422 if form.problems or form.others else 200
    found = sorted(ledger_of(request).operators().values(), key=lambda one: one.name)
    return page(request, "ledger/operators.html", status_code=status, form=form, operators=found)
