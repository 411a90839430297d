"""One entry of a job, and what may be entered. A value that cannot be read is kept as typed; the page says so."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args
from uuid import uuid4

from loopwright.errors import InputError, Problem
from loopwright.job.acts import acts
from loopwright.job.fields import test_fields, vehicle_fields
from loopwright.language import say
from loopwright.quantities import written_as

__all__ = ["KINDS", "TESTS", "Entry", "Kind", "check", "new_entry"]

Kind = Literal["opened", "wrote", "did", "noted", "photo", "service", "undid", "closed", "reopened"]
KINDS: tuple[Kind, ...] = get_args(Kind)
TESTS = ("before", "after")
LONGEST_VALUE, LONGEST_NOTE = 200, 4000  # characters
_TEXT: tuple[type, str] = (str, "text")
_TYPES: Mapping[str, tuple[type, str]] = {
    "event": (Mapping, "a table"),
    "done": (bool, "true or false"),
}  # the rest: text
_ID = re.compile(r"[A-Za-z0-9-]{8,64}")
_KEYS: Mapping[Kind, tuple[frozenset[str], frozenset[str]]] = {  # needed, and allowed beside them
    "opened": (frozenset(), frozenset({"vehicle"})),
    "wrote": (frozenset({"field", "value"}), frozenset({"source"})),
    "did": (frozenset({"act", "test"}), frozenset({"reason", "done"})),
    "noted": (frozenset({"text"}), frozenset()),
    "photo": (frozenset({"photo"}), frozenset({"caption", "test"})),
    "service": (frozenset({"event"}), frozenset()),
    "undid": (frozenset({"entry"}), frozenset()),
    "closed": (frozenset(), frozenset({"reason"})),
    "reopened": (frozenset(), frozenset({"reason"})),
}


@dataclass(frozen=True)
class Entry:
    """One fact: `at` is the moment it happened (RFC 3339, UTC), `by` the person, `data` what it says.

    `id` is made where the entry is made, so that the same entry sent twice is kept once.
    """

    id: str
    at: str
    by: str
    kind: Kind
    data: Mapping[str, Any]


def new_entry(kind: Kind, by: str, at: str, **data: Any) -> Entry:
    """Make an entry with a new id.

    >>> new_entry("wrote", "Ann", "2024-07-01T10:00:00Z", field="vehicle.refrigerant", value="R134a").data["value"]
    'R134a'
    """
    return Entry(str(uuid4()), at, by, kind, data)


def check(entry: Entry) -> None:
    """Refuse an entry that no page of ours could have made; whether a value makes sense is not asked here.

    Raises
    ------
    InputError : unknown kind, field, act or key; too long; no text

    >>> check(new_entry("wrote", "Ann", "2024-07-01T10:00:00Z", field="before.running.low_side.pressure", value="abc"))
    """
    problems = list(_problems(entry))
    if problems:
        raise InputError(problems)


def _problems(entry: Entry) -> list[Problem]:
    if entry.kind not in KINDS:
        return [_wrong("kind", entry.kind, ", ".join(KINDS), say("No such kind of entry."))]
    if not _ID.fullmatch(entry.id):
        return [_wrong("id", entry.id, say("8 to 64 letters, digits and dashes"), say("No id."))]
    if not _can_be_kept(entry):
        return [
            _wrong(
                "data", say("what is no text"), say("text without a zero character, finite numbers"), say("Not text.")
            )
        ]
    needed, beside = _KEYS[entry.kind]
    found = {*entry.data}
    if not needed <= found or not found <= needed | beside:
        return [_wrong("data", sorted(found), ", ".join(sorted(needed | beside)), say("Not the keys of this kind."))]
    problems = [
        _too_long(entry, key) for key, value in entry.data.items() if _length(value) > _longest(entry.kind, key)
    ]
    problems += [_misfit(key, value) for key, value in entry.data.items() if not _fits(key, value)]
    if problems:
        return problems
    if entry.kind == "wrote":
        problems += _wrote(entry.data)
    if entry.kind == "did":
        problems += _did(entry.data)
    return problems


def _can_be_kept(entry: Entry) -> bool:
    """Whether every database can keep it: PostgreSQL's text has no zero character, and half a character is none."""
    try:
        json.dumps([entry.at, entry.by, entry.data], ensure_ascii=False, allow_nan=False).encode()
        return not any("\0" in text for text in _texts([entry.at, entry.by, entry.data]))
    except (ValueError, TypeError, RecursionError):
        return False


def _texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for key, inside in value.items():
            yield from (key, *_texts(inside))
    elif isinstance(value, list):
        for inside in value:
            yield from _texts(inside)


def _misfit(key: str, value: object) -> Problem:
    allowed = _TYPES.get(key, _TEXT)[1]
    return _wrong(key, value, allowed, say("Not text.") if allowed == "text" else say("Of another kind."))


def _fits(key: str, value: object) -> bool:
    return isinstance(value, _TYPES.get(key, _TEXT)[0])


def _wrote(data: Mapping[str, Any]) -> list[Problem]:
    where, _, key = str(data["field"]).partition(".")
    known = {"vehicle": vehicle_fields(), **dict.fromkeys(TESTS, test_fields())}.get(where, {})
    problems = []
    if key not in known:
        problems.append(
            _wrong("field", data["field"], say("a field of vehicle, before or after"), say("No such field."))
        )
    return problems


def _did(data: Mapping[str, Any]) -> list[Problem]:
    problems = []
    if data["act"] not in acts():
        problems.append(_wrong("act", data["act"], ", ".join(acts()), say("No such act.")))
    if data["test"] not in TESTS:
        problems.append(_wrong("test", data["test"], ", ".join(TESTS), say("No such test.")))
    return problems


def _length(value: Any) -> int:
    return len(value if isinstance(value, str) else repr(value))


def _longest(kind: Kind, key: str) -> int:
    return LONGEST_NOTE if (kind, key) in {("noted", "text"), ("service", "event")} else LONGEST_VALUE


def _too_long(entry: Entry, key: str) -> Problem:
    longest = _longest(entry.kind, key)
    return _wrong(key, entry.data[key], say("at most {count} characters", count=longest), say("Too long."))


def _wrong(field: str, found: object, allowed: str, says: str) -> Problem:
    return Problem(field, written_as(found), allowed, says)
