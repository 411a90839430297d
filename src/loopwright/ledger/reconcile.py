"""What the books say against what the scale says, and the books as a whole."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

from loopwright.language import say
from loopwright.ledger.rules import COVERAGE, within
from loopwright.ledger.values import STORES, Account, Balance, Entry, Weighed
from loopwright.ledger.words import grams, held

__all__ = ["Reconciliation", "Standing", "Statement", "Summary", "reconcile", "stand", "summarise"]


class Statement(NamedTuple):
    """A weighing set against the books; masses in mg. `unexplained` is found less booked, `says` the sentence."""

    account: str
    refrigerant: str
    booked: Balance
    found: Balance
    unexplained: Balance
    within: bool
    says: str


def reconcile(weighed: Weighed, booked: Balance) -> Statement:
    """Compare a weighing with the books.

    The difference has the uncertainty of both together, taken as independent (JCGM 100:2008, 5.1.2; from memory). That
    is too small where the same scale made the movements and this weighing with the same offset, and says so nowhere;
    hence a scale is checked against a known mass.

    >>> reconcile(Weighed("A", "R134a", 9_380_000, 20_000), Balance(9_500_000, 30_000**2)).says.partition("; ")[2]
    '120.0 g are missing, 3.3 standard uncertainties: unexplained.'
    """
    found = Balance(weighed.found_mg, weighed.uncertainty_mg**2)
    left = Balance(found.mass_mg - booked.mass_mg, found.variance_mg2 + booked.variance_mg2)
    agrees = within(left.mass_mg, left.variance_mg2)
    says = say(
        "{account}: {found} found, {booked} by the books; {left}",
        account=weighed.account,
        found=held(found),
        booked=held(booked),
        left=_difference(left, agrees),
    )
    return Statement(weighed.account, weighed.refrigerant, booked, found, left, agrees, says)


def _difference(left: Balance, agrees: bool) -> str:
    if left.mass_mg == 0:
        return say("they agree.")
    mass = grams(abs(left.mass_mg))
    amount = say("{mass} are missing", mass=mass) if left.mass_mg < 0 else say("{mass} are too many", mass=mass)
    if agrees:
        return say(
            "{amount}, within what is uncertain ({uncertain}).",
            amount=amount,
            uncertain=grams(COVERAGE * left.uncertainty_mg),
        )
    if left.variance_mg2 == 0:
        return say("{amount}, and nothing is uncertain: unexplained.", amount=amount)
    return say(
        "{amount}, {count:.1f} standard uncertainties: unexplained.",
        amount=amount,
        count=abs(left.mass_mg) / left.uncertainty_mg,
    )


class Summary(NamedTuple):
    """One refrigerant in the whole books, by kind of account; the kinds add up to zero, always."""

    refrigerant: str
    by_kind: Mapping[str, Balance]

    @property
    def total_mg(self) -> int:
        """The sum over all kinds, zero unless the books are broken."""
        return sum(balance.mass_mg for balance in self.by_kind.values())


def summarise(accounts: Mapping[str, Account], balances: Mapping[tuple[str, str], Balance]) -> tuple[Summary, ...]:
    """Add up balances, given by (account, refrigerant), for each refrigerant and kind of account.

    The variances of a kind are added as well, which is an upper bound: what moves inside a kind cancels.
    """
    sums: dict[str, dict[str, Balance]] = {}
    for (name, refrigerant), balance in sorted(balances.items()):
        kinds = sums.setdefault(refrigerant, {})
        before = kinds.get(accounts[name].kind, Balance())
        kinds[accounts[name].kind] = Balance(
            before.mass_mg + balance.mass_mg, before.variance_mg2 + balance.variance_mg2
        )
    return tuple(Summary(refrigerant, kinds) for refrigerant, kinds in sums.items())


class Standing(NamedTuple):
    """Where one account stands with the scale.

    `balance` is what the books say now; `statement` its last weighing against the books of that time (None: it was
    never weighed), at the moment `at` by entry `entry`; `against` the account that took the difference, None where the
    reading was recorded and nothing booked.
    """

    account: str
    refrigerant: str
    balance: Balance
    statement: Statement | None = None
    at: str = ""
    entry: int = 0
    against: str | None = None


class Reconciliation(NamedTuple):
    """The whole stock against the scale.

    `standings` holds every open account that holds refrigerant here, or should; `booked` what the books carry as
    unexplained, by refrigerant: what went missing is positive.
    """

    standings: tuple[Standing, ...]
    booked: Mapping[str, Balance]

    @property
    def beyond(self) -> tuple[Standing, ...]:
        """Those whose last reading lies beyond its uncertainty and was not booked: find out why, or book it."""
        return tuple(s for s in self.standings if s.statement and not s.statement.within and s.against is None)

    @property
    def unweighed(self) -> tuple[Standing, ...]:
        """Those that hold something by the books and were never weighed."""
        return tuple(s for s in self.standings if s.statement is None and s.balance.mass_mg)


def stand(
    accounts: Mapping[str, Account],
    balances: Mapping[tuple[str, str], Balance],
    weighings: Mapping[tuple[str, str], Entry],
    before: Callable[[str, str, int], Balance],
) -> Reconciliation:
    """Set the whole stock against the last weighing of each account.

    Parameters
    ----------
    accounts, balances : of the whole books, balances by (account, refrigerant)
    weighings : the last standing weighing of each (account, refrigerant)
    before : what the books said of an account and refrigerant before an entry of that number
    """
    own = {(a.id, a.refrigerant) for a in accounts.values() if a.kind in STORES and a.refrigerant and not a.closed}
    held_here = {k for k, b in balances.items() if b.mass_mg and accounts[k[0]].kind in STORES}
    standings = []
    for key in sorted(own | held_here | {*weighings}):
        balance, entry = balances.get(key, Balance()), weighings.get(key)
        if entry is None or not isinstance(entry.fact, Weighed):
            standings.append(Standing(*key, balance))
            continue
        statement = reconcile(entry.fact, before(*key, entry.seq))
        standings.append(Standing(*key, balance, statement, entry.at, entry.seq, entry.fact.against))
    booked: dict[str, Balance] = {}
    for (name, refrigerant), balance in sorted(balances.items()):
        if accounts[name].kind == "unexplained":
            had = booked.get(refrigerant, Balance())
            booked[refrigerant] = Balance(had.mass_mg + balance.mass_mg, had.variance_mg2 + balance.variance_mg2)
    return Reconciliation(tuple(standings), booked)
