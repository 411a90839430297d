"""The HTTP API of the refrigerant ledger: accounts, their lines, movements, weighings, reversals, the whole stock."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from fastapi import APIRouter, HTTPException, Path, Query, Request
from pydantic import BaseModel, ConfigDict, Field

from loopwright.api.ledger import Account, Balance, Ledger, Statement
from loopwright.errors import InputError
from loopwright.language import say
from loopwright.ledger.values import AccountKind, Method, State
from loopwright.web.books import ledger_of
from loopwright.web.http_api import refusals
from loopwright.web.security import needs

__all__ = ["router"]

router = APIRouter(prefix="/api/v1/ledger", tags=["ledger"])
Mass = Annotated[int, Field(ge=0, le=10**9, description="Milligrams.")]
Spread = Annotated[int, Field(ge=0, le=10**7, description="One standard uncertainty, in milligrams.")]
Key = Annotated[str, Field(min_length=8, max_length=40, description="Unique to this act: sent again, written once.")]
Name = Annotated[str, Field(min_length=1, max_length=40)]
Note = Annotated[str, Field(max_length=2000)]
When = Annotated[str | None, Field(max_length=40, description="When it happened, RFC 3339; now without it.")]
Number = Annotated[int, Path(ge=1, le=2**53)]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Held(_Model):
    """What an account holds of one refrigerant by the books."""

    refrigerant: str
    mass_mg: int
    uncertainty_mg: int


class AccountNow(_Model):
    """An account and what it holds."""

    name: str
    kind: AccountKind
    refrigerant: str | None
    state: State | None
    title: str
    address: str
    closed: bool
    fill_limit_mg: int | None = None
    tare_mg: int | None = None
    requalification_due: str = ""
    held: list[Held]


class LineNow(_Model):
    """One line of an account's history, newest first; `balance_mg` is after it."""

    entry: int
    at: str
    by: str
    act: str
    mass_mg: int
    balance_mg: int
    note: str
    job: str


class Movement(_Model):
    """A movement to be booked."""

    source: Name
    target: Name
    mass_mg: Annotated[int, Field(ge=1, le=10**9, description="Milligrams.")]
    uncertainty_mg: Spread
    method: Method = "scale"
    refrigerant: Annotated[str | None, Field(max_length=12)] = None
    deviation: Annotated[str, Field(max_length=200, description="Why a rule was not kept.")] = ""
    job: Annotated[str, Field(max_length=40)] = ""
    note: Note = ""
    at: When = None
    key: Key


class Weighing(_Model):
    """A scale reading: `gross_mg` with the cylinder, or `found_mg` the refrigerant alone."""

    account: Name
    uncertainty_mg: Spread
    gross_mg: Mass | None = None
    found_mg: Mass | None = None
    against: Literal["unexplained"] | None = None
    note: Note = ""
    at: When = None
    key: Key


class Reason(_Model):
    """Why an entry is taken back."""

    why: Annotated[str, Field(min_length=1, max_length=2000)]
    key: Key


class Written(_Model):
    """The number of the entry that was written."""

    entry: int


class Compared(_Model):
    """A weighing against the books; `unexplained_mg` is found less booked."""

    account: str
    refrigerant: str
    found_mg: int
    booked_mg: int
    unexplained_mg: int
    uncertainty_mg: int
    within: bool
    says: str


@router.get("/accounts", dependencies=[needs("trainee")], responses=refusals(401))
def accounts(
    request: Request,
    kind: Annotated[list[AccountKind], Query(description="Kinds of account; vehicles only when asked for.")] = [],  # noqa: B006
) -> list[AccountNow]:
    """List accounts with what they hold."""
    ledger = ledger_of(request)
    kinds = kind or [one for one in get_args(AccountKind) if one != "vehicle"]
    return [_account(ledger, account) for account in ledger.accounts(kinds).values()]


@router.get("/accounts/{name:path}", dependencies=[needs("trainee")], responses=refusals(401, 404))
def account(request: Request, name: str) -> AccountNow:
    """Return one account with what it holds."""
    ledger = ledger_of(request)
    return _account(ledger, _found(ledger, name))


@router.get("/lines", dependencies=[needs("trainee")], responses=refusals(401, 404))
def lines(
    request: Request,
    account: Annotated[str, Query(max_length=40)],
    newest: Annotated[int, Query(ge=1, le=200)] = 50,
    before: Annotated[int | None, Query(ge=1, le=2**53)] = None,
) -> list[LineNow]:
    """Return an account's lines, newest first."""
    ledger = ledger_of(request)
    _found(ledger, account)
    return [
        LineNow(
            entry=line.entry.seq,
            at=line.entry.at,
            by=line.entry.by,
            act=str(type(line.entry.fact).__struct_config__.tag),
            mass_mg=line.mass_mg,
            balance_mg=line.balance.mass_mg,
            note=line.entry.note,
            job=line.entry.job,
        )
        for line in ledger.history(account, newest, before)
    ]


@router.post("/movements", dependencies=[needs("technician")], status_code=201, responses=refusals(401, 403, 413, 422))
def move(request: Request, movement: Movement) -> Written:
    """Book a movement; refused with the sentence that says which rule it would break, and what to do."""
    ledger = ledger_of(request)
    before = ledger.written(movement.key)
    if before is not None:
        return Written(entry=before)
    told = movement.model_dump(exclude={"source", "target"})
    return Written(entry=ledger.move(movement.source, movement.target, **told))


@router.post("/weighings", dependencies=[needs("technician")], status_code=201, responses=refusals(401, 403, 413, 422))
def weigh(request: Request, weighing: Weighing) -> Compared:
    """Record a scale reading and set it against the books."""
    told = weighing.model_dump(exclude={"account"})
    return _compared(ledger_of(request).weigh(weighing.account, **told))


@router.post(
    "/entries/{number}/reversal",
    dependencies=[needs("technician")],
    status_code=201,
    responses=refusals(401, 403, 413, 422),
)
def reverse(request: Request, number: Number, reason: Reason) -> Written:
    """Take an entry back, by a new one."""
    ledger = ledger_of(request)
    before = ledger.written(reason.key)
    return Written(entry=ledger.reverse(number, why=reason.why, key=reason.key) if before is None else before)


@router.get("/reconciliation", dependencies=[needs("trainee")], responses=refusals(401))
def reconcile(request: Request) -> list[Compared]:
    """Return the last weighing of each cylinder, machine and hoses against the books of its time."""
    found = ledger_of(request).reconcile(("cylinder", "machine", "hoses")).standings
    return [_compared(one.statement) for one in found if one.statement is not None]


def _found(ledger: Ledger, name: str) -> Account:
    try:
        return ledger.account(name)
    except InputError as error:
        raise HTTPException(404, say("There is no such account.")) from error


def _account(ledger: Ledger, account: Account) -> AccountNow:
    cylinder = account.cylinder
    return AccountNow(
        name=account.id,
        kind=account.kind,
        refrigerant=account.refrigerant,
        state=account.state,
        title=account.name,
        address=account.address,
        closed=account.closed,
        fill_limit_mg=cylinder.fill_limit_mg if cylinder else None,
        tare_mg=cylinder.tare_mg if cylinder else None,
        requalification_due=cylinder.requalification_due if cylinder else "",
        held=[_held(refrigerant, balance) for refrigerant, balance in ledger.holdings(account.id).items()],
    )


def _held(refrigerant: str, balance: Balance) -> Held:
    return Held(refrigerant=refrigerant, mass_mg=balance.mass_mg, uncertainty_mg=round(balance.uncertainty_mg))


def _compared(statement: Statement) -> Compared:
    return Compared(
        account=statement.account,
        refrigerant=statement.refrigerant,
        found_mg=statement.found.mass_mg,
        booked_mg=statement.booked.mass_mg,
        unexplained_mg=statement.unexplained.mass_mg,
        uncertainty_mg=round(statement.unexplained.uncertainty_mg),
        within=statement.within,
        says=statement.says,
    )
