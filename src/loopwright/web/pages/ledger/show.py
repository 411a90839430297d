"""What the pages of the ledger show, as plain values: accounts with what they hold, lines of history, fill bars."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from loopwright.api.ledger import Account, Balance, Ledger, Line
from loopwright.language import later, moment, say
from loopwright.ledger import Amended, Moved, Opened, Registered, Reversed, Weighed
from loopwright.web.books import weighed
from loopwright.web.pages.ledger.forms import KINDS

__all__ = ["AccountShown", "FillShown", "LineShown", "account_shown", "lines_shown", "when"]

_ACTS: Mapping[type, str] = {
    Opened: later("opened"),
    Amended: later("amended"),
    Registered: later("registered"),
    Moved: later("moved"),
    Weighed: later("weighed"),
    Reversed: later("taken back"),
}
_SOON = 60  # days before a requalification falls due that the page says so


@dataclass(frozen=True)
class FillShown:
    """How full a cylinder is: `share` of its limit in percent, at most 100 in the picture, and the words."""

    share: int
    drawn: float
    says: str
    over: bool


@dataclass(frozen=True)
class AccountShown:
    """An account: its kind in words, what it holds by refrigerant, and for a cylinder how full and until when.

    `gross` is what the scale should show by the books, `due_says` what is to be said about the requalification.
    """

    account: Account
    kind: str
    held: tuple[tuple[str, str], ...]
    fill: FillShown | None
    gross: str
    due: str
    due_says: str
    facts: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class LineShown:
    """One line of an account's history."""

    entry: int
    at: str
    act: str
    mass: str
    balance: str
    told: str
    job: str
    reversed: bool
    reversible: bool


def when(at: str) -> str:
    """Write a moment of the ledger in the shop's own time."""
    return moment(datetime.fromisoformat(at).astimezone())


def account_shown(account: Account, held: Mapping[str, Balance], unit: str, today: date) -> AccountShown:
    """Return an account as the pages show it."""
    cylinder = account.cylinder
    total = sum(balance.mass_mg for balance in held.values())
    due = cylinder.requalification_due if cylinder else ""
    return AccountShown(
        account=account,
        kind=say(KINDS[account.kind]),
        held=tuple((name, weighed(b.mass_mg, unit, b.uncertainty_mg)) for name, b in held.items()),
        fill=_fill(total, cylinder.fill_limit_mg, unit) if cylinder and cylinder.fill_limit_mg else None,
        gross=weighed(cylinder.tare_mg + total, unit) if cylinder else "",
        due=due,
        due_says=_due(due, today),
        facts=tuple(_facts(account, unit)),
    )


def _fill(total_mg: int, limit_mg: int, unit: str) -> FillShown:
    share = round(100.0 * total_mg / limit_mg)
    says = say("{mass} of {limit}, {share} %", mass=weighed(total_mg, unit), limit=weighed(limit_mg, unit), share=share)
    return FillShown(share, round(max(0.0, min(100.0, 100.0 * total_mg / limit_mg)), 1), says, total_mg > limit_mg)


def _due(due: str, today: date) -> str:
    if not due:
        return ""
    left = (date.fromisoformat(due) - today).days
    if left < 0:
        return say("Overdue: it must be tested before it is filled again.")
    return say("Due in {days} days.", days=left) if left <= _SOON else ""


def _facts(account: Account, unit: str) -> Iterable[tuple[str, str]]:
    cylinder, equipment = account.cylinder, account.equipment
    found = [(say("Full name"), account.name), (say("Address"), account.address)]
    if cylinder is not None:
        found += [
            (say("Type"), say(cylinder.type)),
            (say("Tare"), weighed(cylinder.tare_mg, unit)),
            (say("Water capacity"), weighed(cylinder.water_capacity_mg, unit)),
            (say("Specification"), cylinder.specification),
            (say("Serial number"), cylinder.serial),
        ]
    if equipment is not None:
        found += [
            (say("Make"), equipment.make),
            (say("Model"), equipment.model),
            (say("Serial number"), equipment.serial),
            (say("Date of manufacture"), equipment.manufactured),
            (say("Certified to"), equipment.standard),
        ]
    return [(label, text) for label, text in found if text]


def lines_shown(ledger: Ledger, lines: Iterable[Line], unit: str) -> list[LineShown]:
    """Return lines of history, newest first."""
    found = list(lines)
    undone = {line.entry.fact.entry for line in found if isinstance(line.entry.fact, Reversed)}
    return [_line(line, unit, line.entry.seq in undone) for line in found]


def _line(line: Line, unit: str, undone: bool) -> LineShown:
    entry, fact = line.entry, line.entry.fact
    act = say(_ACTS[type(fact)])
    if isinstance(fact, Moved):
        act = _way(line)
    elif isinstance(fact, Reversed):
        act = say("entry {entry} taken back", entry=fact.entry)
    sign = "+" if line.mass_mg > 0 else ""
    told = [entry.by, entry.note, getattr(fact, "deviation", "")]
    return LineShown(
        entry=entry.seq,
        at=when(entry.at),
        act=act,
        mass=sign + weighed(line.mass_mg, unit),
        balance=weighed(line.balance.mass_mg, unit, line.balance.uncertainty_mg),
        told=" · ".join(part for part in told if part),
        job=entry.job,
        reversed=undone,
        reversible=bool(entry.legs) and not undone and not isinstance(fact, Reversed),
    )


def _way(line: Line) -> str:
    gives = line.mass_mg < 0
    others = [leg.account for leg in line.entry.legs if (leg.mass_mg < 0) != gives]
    template = later("to {accounts}") if gives else later("from {accounts}")
    return say(template, accounts=", ".join(others))
