"""Verifying a chain: every entry is re-read, re-hashed and checked against the books that its forerunners leave."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

from loopwright.language import say
from loopwright.ledger.books import Books, Effect, effect_of
from loopwright.ledger.chain import GENESIS, Head, canonical, digest, read_entry
from loopwright.ledger.rules import broken
from loopwright.ledger.values import Entry

__all__ = ["MOST_FINDINGS", "Auditor", "Finding", "Report", "audit"]

MOST_FINDINGS = 100  # one wrong entry can upset all later balances; nobody reads more


class Finding(NamedTuple):
    """One thing that is not as it was written: the entry or account it is about, and a sentence."""

    where: str
    says: str


class Report(NamedTuple):
    """What a verification found; `entries` were read, `head` is the last of them, `findings` empty when all is well."""

    entries: int
    head: Head
    findings: tuple[Finding, ...]

    @property
    def sound(self) -> bool:
        """Whether nothing was found."""
        return not self.findings


class Auditor:
    """Takes entries in their order and remembers what is wrong.

    `text_of` gives an entry's text by number (for reversals); `receipts` are heads that were kept elsewhere: a chain
    that was forged whole, or cut short, no longer contains them.
    """

    def __init__(self, text_of: Callable[[int], str | None], receipts: Iterable[Head] = ()) -> None:
        """Begin before the first entry."""
        self._text_of = text_of
        self._receipts = {receipt.seq: receipt.hash for receipt in receipts}
        self._previous = GENESIS
        self.books = Books(archive=self._entry)
        self.findings: list[Finding] = []
        self.entries = 0

    def _entry(self, seq: int) -> Entry | None:
        text = self._text_of(seq)
        try:
            return None if text is None else read_entry(text)
        except ValueError:
            return None

    def note(self, where: str, says: str) -> None:
        """Remember a finding, up to `MOST_FINDINGS`."""
        if len(self.findings) < MOST_FINDINGS:
            self.findings.append(Finding(where, says))

    def take(self, seq: int, stored_hash: str, text: str) -> tuple[Entry, Effect] | None:
        """Check the next entry; give it back with its effect if it can be read at all, whatever is wrong with it."""
        self.entries += 1
        if seq != self._previous.seq + 1:
            self.note(
                say("entry {seq}", seq=seq),
                say("Entries {first} to {last} are missing.", first=self._previous.seq + 1, last=seq - 1),
            )
        if digest(text) != stored_hash:
            self.note(
                say("entry {seq}", seq=seq), say("Its text does not match its hash: the text or the hash was changed.")
            )
        if self._receipts:
            self._receipt(seq, stored_hash)
        try:
            entry = read_entry(text)
        except ValueError as error:
            self.note(say("entry {seq}", seq=seq), say("Its text is no entry: {error}", error=error))
            self._previous = Head(seq, stored_hash)
            return None
        effect = effect_of(self.books, entry.fact, entry.legs)
        self._check(seq, text, entry, effect)
        self._previous = Head(seq, stored_hash)
        self.books.add(entry, stored_hash, effect)
        return entry, effect

    def _receipt(self, seq: int, stored_hash: str) -> None:
        kept = self._receipts.pop(seq, None)
        if kept is not None and kept != stored_hash:
            self.note(
                say("entry {seq}", seq=seq),
                say("Its hash is not that of the receipt: the chain up to here was rewritten."),
            )

    def _check(self, seq: int, text: str, entry: Entry, effect: Effect) -> None:
        if entry.seq != seq:
            self.note(say("entry {seq}", seq=seq), say("Its text says that it is entry {seq}.", seq=entry.seq))
        if entry.previous != self._previous.hash:
            before = say("entry {seq}", seq=self._previous.seq) if self._previous.seq else say("the beginning")
            self.note(
                say("entry {seq}", seq=seq),
                say("It does not follow {before}: one of the two, or its hash, was changed.", before=before),
            )
        if canonical(entry) != text:
            self.note(say("entry {seq}", seq=seq), say("Its text is not in canonical form."))
        for problem in broken(self.books, entry.fact, entry.legs, effect):
            self.note(say("entry {seq}", seq=seq), say("It breaks the rules of the ledger: {says}", says=problem.says))

    def report(self) -> Report:
        """Close the verification: receipts that no entry answered are findings."""
        for seq in sorted(self._receipts):
            self.note(
                say("entry {seq}", seq=seq),
                say("There is a receipt for it, but the chain ends at entry {seq}.", seq=self._previous.seq),
            )
        return Report(self.entries, self._previous, tuple(self.findings))


def audit(rows: Iterable[tuple[str, str]], receipts: Iterable[Head] = ()) -> Report:
    """Verify an exported chain: pairs of hash and text in their order, first entry first."""
    texts: list[str] = []
    auditor = Auditor(lambda seq: texts[seq - 1] if 0 < seq <= len(texts) else None, receipts)
    keys: set[str] = set()
    for stored_hash, text in rows:
        texts.append(text)
        taken = auditor.take(len(texts), stored_hash, text)
        if taken is None:
            continue
        key = taken[0].key
        if key in keys:
            auditor.note(say("entry {seq}", seq=len(texts)), say("Its key {key} was used before.", key=key))
        keys.add(key)
    return auditor.report()
