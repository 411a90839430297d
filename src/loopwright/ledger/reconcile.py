"""What the books say against what the scale says, and the books as a whole."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from loopwright.ledger.rules import COVERAGE, within
from loopwright.ledger.values import Account, Balance, Weighed
from loopwright.ledger.words import grams, held

__all__ = ["Statement", "Summary", "reconcile", "summarise"]


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
    says = f"{weighed.account}: {held(found)} found, {held(booked)} by the books; {_difference(left, agrees)}"
    return Statement(weighed.account, weighed.refrigerant, booked, found, left, agrees, says)


def _difference(left: Balance, agrees: bool) -> str:
    if left.mass_mg == 0:
        return "they agree."
    direction = "missing" if left.mass_mg < 0 else "too many"
    amount = f"{grams(abs(left.mass_mg))} are {direction}"
    if agrees:
        return f"{amount}, within what is uncertain ({grams(COVERAGE * left.uncertainty_mg)})."
    if left.variance_mg2 == 0:
        return f"{amount}, and nothing is uncertain: unexplained."
    return f"{amount}, {abs(left.mass_mg) / left.uncertainty_mg:.1f} standard uncertainties: unexplained."


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
