"""Rules of safety, law and good practice about where refrigerant may go, asked when an entry is written.

Two kinds. What would make the records untrue (recovered refrigerant in a cylinder marked virgin) is refused until the
account is amended. What ought not to have been done, but may have been (a cylinder filled beyond its limit), is refused
without a `deviation` that says why; with one it is written as it happened.
"""

from __future__ import annotations

from collections.abc import Iterator

from loopwright.errors import Problem
from loopwright.language import say
from loopwright.ledger.books import View
from loopwright.ledger.rules import within
from loopwright.ledger.values import Account, Amended, Cylinder, Draft, Leg, Moved, Opened, State
from loopwright.ledger.words import grams

__all__ = ["refused"]

# Purest first. Virgin and reclaimed meet the same specification (AHRI 700, from memory).
_PURITY: dict[State, int] = {"virgin": 3, "reclaimed": 3, "recycled": 2, "recovered": 1, "contaminated": 0}
_RECHARGEABLE = 2  # recovered refrigerant is recycled before it charges a vehicle: 40 CFR 82.32(e), 82.156
_UNJUDGED = 3  # what came before the books began carries the state that its account was opened with
_WASTE = ("reclaimer", "destruction", "atmosphere", "unexplained")


def refused(view: View, draft: Draft, legs: tuple[Leg, ...]) -> list[Problem]:
    """Name every rule that this draft would break; reversals and weighings are bookkeeping and break none."""
    fact = draft.fact
    if isinstance(fact, Amended):
        return list(_cleaned(view, fact.account))
    if not isinstance(fact, Moved):
        return list(_wishful(fact.account)) if isinstance(fact, Opened) else []
    given = [a for leg in legs if leg.mass_mg < 0 and (a := view.account(leg.account)) is not None]
    taken = [(leg, a) for leg in legs if leg.mass_mg > 0 and (a := view.account(leg.account)) is not None]
    problems = list(_untrue(given, [a for _, a in taken]))
    if not problems and not fact.deviation.strip():
        problems += _improper(view, draft.at, fact.refrigerant, given, taken)
    return problems


def _purity(source: Account) -> int:
    """How pure what leaves an account is at best, from 0 (contaminated) to 3 (new)."""
    if source.state is not None:
        return _PURITY[source.state]
    return _UNJUDGED if source.kind in ("supplier", "outside", "unexplained") else _PURITY["recovered"]


def _untrue(given: list[Account], taken: list[Account]) -> Iterator[Problem]:
    for source in given:
        if source.kind in ("atmosphere", "destruction"):
            yield Problem("legs", source.id, say("a source that can give"), say("Nothing comes back from there."))
        for target in taken:
            yield from _impure(source, target)


def _impure(source: Account, target: Account) -> Iterator[Problem]:
    if target.kind in _WASTE or target.state == "contaminated":
        return
    if source.state == "contaminated":
        says = say(
            "{source} is contaminated: it goes to a reclaimer, to destruction or into a contaminated cylinder.",
            source=source.id,
        )
        yield Problem("legs", say("{source} to {target}", source=source.id, target=target.id), ", ".join(_WASTE), says)
    elif target.kind == "cylinder" and target.state is not None and _purity(source) < _PURITY[target.state]:
        says = say(
            "What comes from {source} would make {target} no longer {state}; amend its state first.",
            source=source.id,
            target=target.id,
            state=say(str(target.state)),
        )
        yield Problem(
            "legs",
            say("{source} to {target}", source=source.id, target=target.id),
            say("what is {state} or purer", state=say(str(target.state))),
            says,
        )


def _improper(
    view: View, at: str, refrigerant: str, given: list[Account], taken: list[tuple[Leg, Account]]
) -> Iterator[Problem]:
    for leg, target in taken:
        if target.kind == "vehicle" and any(_raw(source) for source in given):
            says = say("Recovered refrigerant is recycled or reclaimed before it charges a vehicle.")
            yield _deviation(
                say("{target} from {sources}", target=target.id, sources=", ".join(a.id for a in given)), says
            )
        if target.cylinder is not None:
            held = sum(balance.mass_mg for balance in view.holdings(target.id).values())
            yield from _filling(target, target.cylinder, held + leg.mass_mg, at, given)


def _raw(source: Account) -> bool:
    """Whether a vehicle may not be charged from here; what hoses hold came from the charge itself."""
    return source.kind not in ("hoses", "outside") and _purity(source) < _RECHARGEABLE


def _filling(target: Account, cylinder: Cylinder, after_mg: int, at: str, given: list[Account]) -> Iterator[Problem]:
    if cylinder.type == "disposable" and any(source.kind not in ("supplier", "outside") for source in given):
        says = say("A disposable cylinder is never refilled: it can burst, and to transport it is an offence.")
        yield _deviation(target.id, says)
    if cylinder.requalification_due and at[:10] > cylinder.requalification_due:
        found = say("{cylinder}, due {day}", cylinder=target.id, day=cylinder.requalification_due)
        yield _deviation(found, say("Its requalification is overdue: it must be tested before it is filled."))
    if cylinder.fill_limit_mg is not None and after_mg > cylinder.fill_limit_mg:
        found = say(
            "{target} with {mass}, limit {limit}",
            target=target.id,
            mass=grams(after_mg),
            limit=grams(cylinder.fill_limit_mg),
        )
        yield _deviation(found, say("It would be overfilled: warmed liquid leaves no room and bursts a cylinder."))


def _deviation(found: str, says: str) -> Problem:
    return Problem("deviation", found, say("not to do it; if it was done, say why in `deviation`"), says)


def _wishful(account: Account) -> Iterator[Problem]:
    if account.cylinder is not None and account.cylinder.type == "disposable" and account.state == "recovered":
        says = say(
            "A disposable cylinder does not hold recovered refrigerant; if it was so filled, mark it contaminated."
        )
        yield Problem("account.state", "recovered", say("virgin, reclaimed, recycled or contaminated"), says)


def _cleaned(view: View, account: Account) -> Iterator[Problem]:
    """A state becomes purer only when the cylinder is empty, save that a machine recycles what was recovered."""
    before = view.account(account.id)
    if before is None or before.state is None or account.state is None:
        return
    if _PURITY[account.state] <= _PURITY[before.state] or (before.state, account.state) == ("recovered", "recycled"):
        return
    if any(not within(b.mass_mg, b.variance_mg2) for b in view.holdings(account.id).values()):
        says = say(
            "{account} is not empty, and what it holds does not become purer by being called so.", account=account.id
        )
        yield Problem("account.state", account.state, before.state, says)
