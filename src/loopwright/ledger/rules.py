"""The invariants: what must be true of every entry, when it is written and whenever the chain is verified.

Rules that laws and good practice make, and that may change, stand in `policy` and are asked only when an entry is
written. Problems are gathered and named together.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import isqrt

from loopwright.errors import Problem
from loopwright.language import say
from loopwright.ledger.books import Effect, View, effect_of
from loopwright.ledger.values import (
    BOUNDARY,
    LARGEST_MASS_MG,
    LARGEST_UNCERTAINTY_MG,
    STORES,
    Account,
    Amended,
    Balance,
    Draft,
    Entry,
    Fact,
    Leg,
    Moved,
    Opened,
    Reversed,
    Weighed,
)
from loopwright.ledger.words import grams, held

__all__ = ["COVERAGE", "LARGEST_VARIANCE_MG2", "broken", "legs_of", "within"]

COVERAGE = 2  # standard uncertainties; about 95 % for many small independent errors (JCGM 100:2008, 6.3.3; from memory)
LARGEST_VARIANCE_MG2 = 2**62  # what both databases can hold, with room for one more movement


def within(difference_mg: int, variance_mg2: int) -> bool:
    """Tell whether a difference lies within its uncertainty, in whole numbers and so alike everywhere.

    >>> within(30, 225), within(-31, 225)
    (True, False)
    """
    return difference_mg * difference_mg <= COVERAGE * COVERAGE * variance_mg2


def legs_of(view: View, draft: Draft) -> tuple[Leg, ...]:
    """Work out the legs of an entry: as given for a movement, from the books for a weighing and a reversal."""
    fact = draft.fact
    if isinstance(fact, Reversed):
        original = view.entry(fact.entry)
        return () if original is None else _taken_back(original)
    if isinstance(fact, Weighed) and fact.against is not None:
        return _recount(fact, fact.against, view.balance(fact.account, fact.refrigerant))
    return draft.legs


def _taken_back(entry: Entry) -> tuple[Leg, ...]:
    return tuple(Leg(leg.account, -leg.mass_mg, -leg.variance_mg2) for leg in entry.legs)


def _recount(fact: Weighed, against: str, booked: Balance) -> tuple[Leg, ...]:
    """After it the account holds what was found, as sure as the scale; the difference is as sure as both together."""
    difference = fact.found_mg - booked.mass_mg
    found = fact.uncertainty_mg**2
    return (
        Leg(fact.account, difference, found - booked.variance_mg2),
        Leg(against, -difference, found + booked.variance_mg2),
    )


def broken(view: View, fact: Fact, legs: tuple[Leg, ...], effect: Effect) -> list[Problem]:
    """Name every invariant that this fact with these legs would break.

    `view` is the books before it, `effect` what it does to them.
    """
    match fact:
        case Moved():
            found = [*_moving(legs), *_stores(view, legs, effect)]
        case Opened(account):
            found = [*_no_legs(legs), *_opening(view, account)]
        case Amended(account):
            found = [*_no_legs(legs), *_amending(view, account)]
        case Weighed():
            found = [*_weighing(view, fact, legs), *_stores(view, legs, effect)]
        case Reversed(seq):
            found = [*_reversing(view, seq, legs), *_stores(view, legs, effect)]
        case _:
            found = _no_legs(legs)
    return found


def _no_legs(legs: tuple[Leg, ...]) -> list[Problem]:
    return (
        [Problem("legs", say("{count} legs", count=len(legs)), say("none"), say("This kind of entry moves nothing."))]
        if legs
        else []
    )


def _opening(view: View, account: Account) -> Iterator[Problem]:
    if view.account(account.id) is not None:
        yield Problem("account.id", account.id, say("a name not used yet"), say("There is an account of that name."))
    if account.closed:
        yield Problem("account.closed", "true", "false", say("An account opens open."))
    yield from _fitting(account)


def _fitting(account: Account) -> Iterator[Problem]:
    store = account.kind in STORES
    if store != (account.refrigerant is not None):
        allowed = say("its one refrigerant") if store else say("none")
        yield Problem(
            "account.refrigerant", str(account.refrigerant), allowed, say("Wrong for a {kind}.", kind=say(account.kind))
        )
    if (account.kind == "cylinder") != (account.cylinder is not None):
        yield Problem(
            "account.cylinder", str(account.cylinder), say("for cylinders, and only those"), say("Does not fit.")
        )
    states = {
        "cylinder": ("virgin", "reclaimed", "recycled", "recovered", "contaminated"),
        "machine": ("recycled", "recovered", "contaminated"),
    }.get(account.kind, (None,))
    if account.state not in states:
        yield Problem(
            "account.state",
            str(account.state),
            ", ".join(map(str, states)),
            say("Wrong for a {kind}.", kind=say(account.kind)),
        )


def _amending(view: View, account: Account) -> Iterator[Problem]:
    before = view.account(account.id)
    if before is None:
        yield Problem("account.id", account.id, say("an account that was opened"), say("There is no such account."))
        return
    yield from _fitting(account)
    if account.kind != before.kind:
        yield Problem("account.kind", account.kind, before.kind, say("An account stays what it is; open another."))
    full = [
        say("{mass} of {refrigerant}", mass=held(b), refrigerant=r)
        for r, b in view.holdings(account.id).items()
        if not within(b.mass_mg, b.variance_mg2)
    ]
    if full and account.refrigerant != before.refrigerant:
        found = say("{refrigerant}, while it holds {masses}", refrigerant=account.refrigerant, masses=", ".join(full))
        yield Problem("account.refrigerant", found, str(before.refrigerant), say("It is not empty."))
    if full and account.kind in STORES and account.closed:
        yield Problem(
            "account.closed",
            say("true, while it holds {masses}", masses=", ".join(full)),
            "false",
            say("It is not empty."),
        )


def _moving(legs: tuple[Leg, ...]) -> list[Problem]:
    problems = []
    names = {leg.account for leg in legs}
    if len(legs) < 2 or len(names) != len(legs):
        found = ", ".join(leg.account for leg in legs) or say("none")
        problems.append(
            Problem("legs", found, say("two or more different accounts"), say("It does not move anything."))
        )
    for leg in legs:
        if not 0 < abs(leg.mass_mg) <= LARGEST_MASS_MG:
            allowed = say("above 0 and up to {limit}", limit=grams(LARGEST_MASS_MG))
            problems.append(
                Problem("legs", grams(abs(leg.mass_mg)), allowed, say("Wrong mass for {account}.", account=leg.account))
            )
    return problems + _spreads(legs)


def _spreads(legs: tuple[Leg, ...]) -> list[Problem]:
    """Errors of legs that add up to zero exist only if no spread is larger than all the others together."""
    variances = {leg.variance_mg2 for leg in legs}
    for variance in variances:
        if variance < 0 or isqrt(variance) ** 2 != variance or variance > LARGEST_UNCERTAINTY_MG**2:
            allowed = say(
                "0 to {limit}, in whole milligrams",
                limit=grams(LARGEST_UNCERTAINTY_MG),
            )
            return [
                Problem(
                    "uncertainty",
                    say("a variance of {variance} mg²", variance=variance),
                    allowed,
                    say("Wrong uncertainty."),
                )
            ]
    if len(variances) == 1 and len(legs) > 1:  # alike, as nearly always
        return []
    spreads = [isqrt(leg.variance_mg2) for leg in legs]
    if 2 * max(spreads, default=0) <= sum(spreads):
        return []
    found, allowed = (
        say(" and ").join(map(grams, spreads)),
        say("none larger than the others together; alike for two legs"),
    )
    says = say("What leaves one account enters the others, so their uncertainties belong together.")
    return [Problem("uncertainty", found, allowed, says)]


def _weighing(view: View, fact: Weighed, legs: tuple[Leg, ...]) -> Iterator[Problem]:
    account = view.account(fact.account)
    if account is None or account.kind not in STORES:
        yield Problem(
            "account", fact.account, say("a cylinder, machine, hoses or vehicle"), say("It cannot be weighed.")
        )
        return
    if account.refrigerant != fact.refrigerant and account.state != "contaminated":
        yield Problem(
            "refrigerant",
            fact.refrigerant,
            str(account.refrigerant),
            say("{account} holds another.", account=account.id),
        )
    if fact.found_mg < 0 and not within(fact.found_mg, fact.uncertainty_mg**2):
        found = f"{grams(fact.found_mg)} ± {grams(fact.uncertainty_mg)}"
        yield Problem(
            "found_mg", found, say("not less than nothing, within its uncertainty"), say("Is the tare right?")
        )
    if fact.gross_mg is not None and fact.gross_mg - (fact.tare_mg or 0) != fact.found_mg:
        found = f"{grams(fact.gross_mg)} less {grams(fact.tare_mg or 0)}"
        yield Problem("found_mg", found, grams(fact.found_mg), say("Gross less tare is not what was found."))
    if fact.against is None:
        yield from _no_legs(legs)
        return
    others = [r for r, b in view.holdings(fact.account).items() if r != fact.refrigerant and b.mass_mg != 0]
    if others:
        says = say("A scale does not tell refrigerants apart: book the difference as movements, by your own judgement.")
        yield Problem(
            "against",
            say("{account} also holds {refrigerants}", account=fact.account, refrigerants=", ".join(others)),
            say("nothing"),
            says,
        )
    other = view.account(fact.against)
    if other is None or other.kind not in ("unexplained", "atmosphere", "outside"):
        allowed = say("an unexplained, outside or atmosphere account")
        yield Problem("against", fact.against, allowed, say("The difference cannot be booked there."))
    elif legs != _recount(fact, fact.against, view.balance(fact.account, fact.refrigerant)):
        yield Problem(
            "legs", str(legs), say("the difference to the books"), say("The legs are not those of this weighing.")
        )


def _reversing(view: View, seq: int, legs: tuple[Leg, ...]) -> Iterator[Problem]:
    original = view.entry(seq) if seq <= view.head().seq else None
    if original is None or not original.legs or isinstance(original.fact, Reversed):
        yield Problem(
            "entry", str(seq), say("an earlier movement or booked weighing"), say("That entry cannot be reversed.")
        )
        return
    if (by := view.reversed_by(seq)) is not None:
        yield Problem("entry", str(seq), say("an entry that stands"), say("Entry {by} has reversed it already.", by=by))
    refrigerant = effect_of(view, original.fact, original.legs).refrigerant or ""
    for leg in original.legs:
        if (recount := view.recount_after(leg.account, refrigerant, seq)) is not None:
            says = say(
                "{account} was weighed and booked since; reverse entry {recount} first, or leave both.",
                account=leg.account,
                recount=recount,
            )
            yield Problem("entry", str(seq), say("an entry after {recount}", recount=recount), says)
    if legs != _taken_back(original):
        yield Problem(
            "legs",
            str(legs),
            say("the legs of entry {seq} with their signs turned", seq=seq),
            say("It does not reverse it."),
        )


def _stores(view: View, legs: tuple[Leg, ...], effect: Effect) -> list[Problem]:
    """Check the legs together: they add up to zero, mix nothing, and take from no store more than it holds."""
    if not legs:
        return []
    refrigerant, after = effect
    if refrigerant is None:
        return [
            Problem(
                "legs",
                say("{count} legs", count=len(legs)),
                say("legs of one refrigerant"),
                say("What they move cannot be told."),
            )
        ]
    problems = []
    total = 0
    for leg, balance in zip(legs, after, strict=True):
        total += leg.mass_mg
        account = view.account(leg.account)
        if account is None:
            problems.append(
                Problem("account", leg.account, say("an account that was opened"), say("There is no such account."))
            )
        elif account.closed:
            problems.append(
                Problem("account", leg.account, say("an open account"), say("It was closed; open it again first."))
            )
        elif account.refrigerant not in (None, refrigerant) and account.state != "contaminated":
            problems.append(_mixed(account, refrigerant))
        elif balance.mass_mg < 0 and account.kind not in BOUNDARY and _overdrawn(balance):
            problems.append(_too_little(leg, refrigerant, balance))
        if not (0 <= balance.variance_mg2 <= LARGEST_VARIANCE_MG2 and abs(balance.mass_mg) <= LARGEST_VARIANCE_MG2):
            says = say("It would no longer fit the ledger: weigh it and book the difference.")
            problems.append(Problem(leg.account, str(balance), say("what the ledger can hold"), says))
    if total != 0:
        says = say("What leaves must arrive: the legs do not balance.")
        problems.append(Problem("legs", say("a sum of {total}", total=grams(total)), "0 g", says))
    return problems


def _mixed(account: Account, refrigerant: str) -> Problem:
    says = say(
        "{account} is for {refrigerant}; refrigerants are never mixed. If they were, mark the account as "
        "contaminated first.",
        account=account.id,
        refrigerant=account.refrigerant,
    )
    return Problem("refrigerant", refrigerant, str(account.refrigerant), says)


def _overdrawn(balance: Balance) -> bool:
    return balance.variance_mg2 >= 0 and not within(balance.mass_mg, balance.variance_mg2)


def _too_little(leg: Leg, refrigerant: str, after: Balance) -> Problem:
    before = Balance(after.mass_mg - leg.mass_mg, after.variance_mg2 - leg.variance_mg2)
    says = say(
        "By the books {account} holds {before} of {refrigerant}, so {mass} cannot leave it. Something was "
        "not entered, or a mass is wrong: enter what is missing, or weigh it and book the difference.",
        account=leg.account,
        before=held(before),
        refrigerant=refrigerant,
        mass=grams(-leg.mass_mg),
    )
    allowed = say(
        "at most {count} standard uncertainties ({mass}) below nothing",
        count=COVERAGE,
        mass=grams(COVERAGE * after.uncertainty_mg),
    )
    return Problem("legs", say("{mass} left", mass=grams(after.mass_mg)), allowed, says)
