"""Taking a sheet apart while gathering everything that is wrong with it, so that a person sees it all at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.quantities import Kind, Quantity, parse, written_as

__all__ = ["LONGEST_TEXT", "Gather", "is_text", "join"]

LONGEST_TEXT = 1000  # characters of an id, a label or an instrument's name


def join(parent: str, key: str) -> str:
    """Return the path of a key inside its table.

    >>> join("", "id"), join("readings[2]", "value")
    ('id', 'readings[2].value')
    """
    return f"{parent}.{key}" if parent else key


def is_text(found: str) -> bool:
    r"""Tell whether text can be written down; a lone half of a surrogate pair cannot.

    >>> is_text("30 °F"), is_text("\ud800")
    (True, False)
    """
    return not any("\ud800" <= ch <= "\udfff" for ch in found)


class Gather:
    """Reads values out of tables; what is wrong lands in `problems` and yields None or an empty table."""

    def __init__(self) -> None:
        """Start with no problems."""
        self.problems: list[Problem] = []

    def add(self, field: str, found: object, allowed: str, says: str) -> None:
        """Note one problem."""
        self.problems.append(Problem(field or say("(the sheet)"), written_as(found), allowed, says))

    def table(self, found: object, field: str, keys: Iterable[str], needed: Iterable[str] = ()) -> Mapping[str, Any]:
        """Return a table after refusing unknown and missing keys; an empty one where it is none."""
        keys = tuple(keys)
        if not isinstance(found, Mapping):
            self.add(field, found, say("a table with {keys}", keys=", ".join(keys)), say("Not a table."))
            return {}
        for key in found:
            if key not in keys:
                self._unknown(key, field, keys)
        for key in needed:
            if found.get(key) is None:
                self.add(join(field, key), say("nothing"), say("a value"), say("Missing."))
        return {key: found[key] for key in keys if found.get(key) is not None}

    def _unknown(self, key: object, field: str, keys: tuple[str, ...]) -> None:
        near = get_close_matches(key, keys, n=1) if isinstance(key, str) and len(key) < 60 else []
        hint = say(" Did you mean {word}?", word=near[0]) if near else ""
        self.add(join(field, written_as(key)), written_as(key), ", ".join(keys), say("Unknown key.{hint}", hint=hint))

    def rows(self, found: object, field: str) -> list[Any]:
        """Return a list; an empty one where it is missing or none."""
        if found is None:
            return []
        if not isinstance(found, list | tuple):
            self.add(field, found, say("a list"), say("Not a list."))
            return []
        return list(found)

    def text(self, table: Mapping[str, Any], key: str, field: str) -> str | None:
        """Return free text, None where it is missing."""
        if (found := table.get(key)) is None:
            return None
        if not isinstance(found, str):
            self.add(join(field, key), found, say("text"), say("Not text."))
        elif len(found) > LONGEST_TEXT:
            self.add(
                join(field, key),
                found,
                say("at most {count} characters", count=LONGEST_TEXT),
                say("Too long."),
            )
        elif not is_text(found):
            self.add(join(field, key), found, say("text that can be written down"), say("Half of a character."))
        else:
            return found
        return None

    def choice(self, table: Mapping[str, Any], key: str, field: str, allowed: Iterable[str]) -> str | None:
        """Return one of the allowed words, None where it is missing."""
        allowed = tuple(allowed)
        if (found := table.get(key)) is None:
            return None
        if isinstance(found, str) and found in allowed:
            return found
        near = get_close_matches(found, allowed, n=1) if isinstance(found, str) and len(found) < 60 else []
        hint = say(" Did you mean {word}?", word=near[0]) if near else ""
        self.add(join(field, key), found, ", ".join(allowed), say("Not one of the allowed words.{hint}", hint=hint))
        return None

    def quantity(
        self, found: object, field: str, kind: Kind, unit: str | None = None, default: str | None = None
    ) -> Quantity | None:
        """Return a value with its unit; `unit` stands beside it, `default` is for values that have none."""
        try:
            return parse(found, kind, unit, default)
        except InputError as error:
            for problem in error.problems:
                self.problems.append(Problem(field, problem.found, problem.allowed, problem.says))
            return None
