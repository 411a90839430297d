"""What is derived from a chain of entries: accounts, balances, what was reversed and what was weighed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from typing import NamedTuple, Protocol

from loopwright.ledger.chain import GENESIS, Head, canonical, digest
from loopwright.ledger.values import (
    Account,
    Amended,
    Balance,
    Entry,
    Fact,
    Leg,
    Moved,
    Opened,
    Operator,
    Registered,
    Reversed,
    Weighed,
)

__all__ = ["NO_EFFECT", "Books", "Effect", "View", "effect_of"]

NOTHING = Balance()


class View(Protocol):
    """What the rules need to know of the entries so far; a database and the books in memory both answer."""

    def head(self) -> Head:
        """The last entry."""

    def account(self, name: str) -> Account | None:
        """The account as last amended."""

    def balance(self, account: str, refrigerant: str) -> Balance:
        """What it holds by the books."""

    def holdings(self, account: str) -> Mapping[str, Balance]:
        """What it holds of each refrigerant that was ever booked to it."""

    def entry(self, seq: int) -> Entry | None:
        """One entry."""

    def posted(self, key: str) -> Entry | None:
        """The entry that was written for this key."""

    def reversed_by(self, seq: int) -> int | None:
        """The entry that reversed this one."""

    def recount_after(self, account: str, refrigerant: str, seq: int) -> int | None:
        """The latest standing weighing that was booked to an account after entry `seq`."""


class Effect(NamedTuple):
    """What an entry does to the books: of which refrigerant, and each leg's balance after it, in the legs' order."""

    refrigerant: str | None = None
    after: tuple[Balance, ...] = ()


def effect_of(view: View, fact: Fact, legs: tuple[Leg, ...]) -> Effect:
    """Work out what an entry does to the books before it; nothing where it has no legs, or none that can be told."""
    refrigerant = _refrigerant(fact, view.entry) if legs else None
    if refrigerant is None:
        return NO_EFFECT
    after = []
    for leg in legs:
        before = view.balance(leg.account, refrigerant)
        after.append(Balance(before.mass_mg + leg.mass_mg, before.variance_mg2 + leg.variance_mg2))
    return Effect(refrigerant, tuple(after))


def _refrigerant(fact: Fact, entry: Callable[[int], Entry | None]) -> str | None:
    """Which refrigerant a fact moves; a reversal moves what its original moved, and nothing reverses a reversal."""
    if isinstance(fact, Moved):
        return fact.refrigerant
    if isinstance(fact, Reversed):
        original = entry(fact.entry)
        fact = fact if original is None else original.fact
    return fact.refrigerant if isinstance(fact, Moved | Weighed) else None


NO_EFFECT = Effect()


class Books:
    """The books in memory.

    `archive` answers for entries by number where the caller keeps them (a database of a million entries); without it
    every entry is kept here.
    """

    def __init__(self, archive: Callable[[int], Entry | None] | None = None) -> None:
        """Begin with nothing."""
        self._archive = archive
        self._entries: list[Entry] = []
        self._by_key: dict[str, int] = {}
        self._head = GENESIS
        self._balances: dict[str, dict[str, Balance]] = {}
        self._reversed: dict[int, int] = {}
        self._recounts: defaultdict[tuple[str, str], list[int]] = defaultdict(list)
        self.accounts: dict[str, Account] = {}
        self.operators: dict[str, Operator] = {}

    def head(self) -> Head:
        """The last entry."""
        return self._head

    def account(self, name: str) -> Account | None:
        """The account as last amended."""
        return self.accounts.get(name)

    def balance(self, account: str, refrigerant: str) -> Balance:
        """What it holds by the books."""
        held = self._balances.get(account)
        return NOTHING if held is None else held.get(refrigerant, NOTHING)

    def holdings(self, account: str) -> Mapping[str, Balance]:
        """What it holds of each refrigerant that was ever booked to it."""
        return dict(self._balances.get(account, {}))

    def entry(self, seq: int) -> Entry | None:
        """One entry."""
        if self._archive is not None:
            return self._archive(seq)
        return self._entries[seq - 1] if 1 <= seq <= len(self._entries) else None

    def posted(self, key: str) -> Entry | None:
        """The entry that was written for this key (not known where an archive keeps the entries)."""
        seq = self._by_key.get(key)
        return None if seq is None else self.entry(seq)

    def reversed_by(self, seq: int) -> int | None:
        """The entry that reversed this one."""
        return self._reversed.get(seq)

    def recount_after(self, account: str, refrigerant: str, seq: int) -> int | None:
        """The latest standing weighing that was booked to an account after entry `seq`."""
        for recount in reversed(self._recounts.get((account, refrigerant), ())):
            if recount not in self._reversed:
                return recount if recount > seq else None
        return None

    def add(self, entry: Entry, hash_: str | None = None, effect: Effect | None = None) -> None:
        """Take up one entry that the rules have passed; `hash_` and `effect` spare working them out again."""
        if self._archive is None:
            self._entries.append(entry)
            self._by_key[entry.key] = entry.seq
        if entry.legs:
            self._book(entry, effect or effect_of(self, entry.fact, entry.legs))
        self._head = Head(entry.seq, hash_ or digest(canonical(entry)))
        fact = entry.fact
        if isinstance(fact, Moved):
            return
        if isinstance(fact, Opened | Amended):
            self.accounts[fact.account.id] = fact.account
        elif isinstance(fact, Registered):
            self.operators[fact.operator.name] = fact.operator
        elif isinstance(fact, Reversed):
            self._reversed[fact.entry] = entry.seq
        elif isinstance(fact, Weighed) and entry.legs:
            self._recounts[fact.account, fact.refrigerant].append(entry.seq)

    def _book(self, entry: Entry, effect: Effect) -> None:
        refrigerant, after = effect
        if refrigerant is None:
            return
        for leg, balance in zip(entry.legs, after, strict=True):
            held = self._balances.get(leg.account)
            if held is None:
                held = self._balances[leg.account] = {}
            held[refrigerant] = balance
