"""From a draft to the entry that is written, or to everything that is wrong with it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from typing import NamedTuple

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.ledger.books import NO_EFFECT, Effect, View, effect_of
from loopwright.ledger.chain import canonical, digest, read_entry
from loopwright.ledger.names import moment, refrigerant_name, text_problem
from loopwright.ledger.policy import refused
from loopwright.ledger.rules import broken, legs_of
from loopwright.ledger.values import Account, Cylinder, Draft, Entry, Equipment, Fact, Moved, Operator, Reversed

__all__ = ["Posting", "prepare"]

_LONGEST = 200
_DAYS = ("requalification_due", "issued")
_LONGEST_NOTE = 2000


class Posting(NamedTuple):
    """An entry, its canonical text, its hash and its effect; `new` is False where it had been written before."""

    entry: Entry
    text: str
    hash: str
    effect: Effect
    new: bool


def prepare(view: View, draft: Draft, recorded: str) -> Posting:
    """Make the next entry of a draft.

    Parameters
    ----------
    view : the books so far; nothing else may be written between reading it and writing the entry
    draft : what is to be written; one whose `key` was written before with the same content gives that entry again
    recorded : the moment of writing, RFC 3339 in UTC

    Raises
    ------
    InputError : the draft breaks an invariant or a rule, or its key stands for something else; all problems together
    """
    if (before := view.posted(draft.key)) is not None:
        return _again(before, draft)
    legs = legs_of(view, draft)
    head = view.head()
    entry = Entry(
        seq=head.seq + 1,
        previous=head.hash,
        key=draft.key,
        at=draft.at,
        recorded=recorded,
        by=draft.by,
        fact=draft.fact,
        legs=legs,
        note=draft.note,
        job=draft.job,
    )
    text = _checked_text(entry)
    effect = effect_of(view, draft.fact, legs)
    problems = [*_texts(draft), *broken(view, draft.fact, legs, effect)] or refused(view, draft, legs)
    if problems:
        raise InputError(problems)
    return Posting(entry, text, digest(text), effect, True)


def _again(before: Entry, draft: Draft) -> Posting:
    same = (draft.at, draft.by, draft.fact, draft.note, draft.job) == (
        before.at,
        before.by,
        before.fact,
        before.note,
        before.job,
    )
    if not same or (isinstance(draft.fact, Moved) and draft.legs != before.legs):
        allowed = say("the same content as entry {seq}, or a new key", seq=before.seq)
        raise InputError([Problem("key", draft.key, allowed, say("This key stands for another entry."))])
    text = canonical(before)
    return Posting(before, text, digest(text), NO_EFFECT, False)


def _checked_text(entry: Entry) -> str:
    """Write the entry and read it back, which checks every type, range and pattern that its fields declare."""
    try:
        text = canonical(entry)
        read_entry(text)
    except (TypeError, ValueError, OverflowError) as error:  # msgspec's errors are ValueErrors; a lone surrogate too
        says, _, place = str(error).partition(" - at ")
        field = place.strip("`").removeprefix("$.") or "entry"
        raise InputError([Problem(field, say("another value"), says, say("This value cannot be kept."))]) from error
    return text


def _texts(draft: Draft) -> Iterator[Problem]:
    texts = [("by", draft.by), ("job", draft.job), *_fact_texts(draft.fact), *(("legs", g.account) for g in draft.legs)]
    found = [text_problem(field, text, _LONGEST) for field, text in [("key", draft.key), *texts]]
    found.append(text_problem("note", draft.note, _LONGEST_NOTE, lines=True))
    found += [_written_otherwise("at", draft.at, moment)]
    if isinstance(draft.fact, Reversed) and not draft.note.strip():
        found.append(Problem("note", say("nothing"), say("the reason"), say("A reversal says why.")))
    yield from (problem for problem in found if problem is not None)
    yield from (problem for field, text in texts if (problem := _special(field, text)) is not None)


def _special(field: str, text: str) -> Problem | None:
    """Check the texts that mean one thing only if they are written in one way."""
    if field == "refrigerant":
        return _written_otherwise(field, text, refrigerant_name)
    if field in _DAYS and text:
        return _written_otherwise(field, text, lambda written: date.fromisoformat(written).isoformat())
    return None


def _written_otherwise(field: str, text: str, right: Callable[[str], str]) -> Problem | None:
    try:
        allowed = right(text)
    except ValueError as error:
        problems = error.problems if isinstance(error, InputError) else ()
        allowed, says = (
            (problems[0].allowed, problems[0].says) if problems else (say("a day such as 2026-07-01"), say("No day."))
        )
        return Problem(field, repr(text), allowed, says)
    return None if allowed == text else Problem(field, repr(text), allowed, say("It has one way of being written."))


def _fact_texts(fact: Fact) -> list[tuple[str, str]]:
    """Every text in a fact, with its field, down to the records it holds."""
    found: list[tuple[str, str]] = []
    for field in fact.__struct_fields__:
        value = getattr(fact, field)
        if isinstance(value, str):
            found.append((field, value))
        elif isinstance(value, Account | Operator | Cylinder | Equipment):
            found += _fact_texts(value)  # type: ignore[arg-type]  # records and facts are read alike
    return found
