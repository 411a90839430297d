"""JSON with the line of every value, duplicate keys refused, and nothing that is not JSON let through."""

from __future__ import annotations

import json
import math
import re
from bisect import bisect_right
from typing import Any

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.quantities import written_as
from loopwright.readings.gather import join
from loopwright.readings.places import Places

__all__ = ["DEEPEST", "scan"]

DEEPEST = 16  # levels of nesting; a sheet has four
_SPACE = re.compile(r"[ \t\r\n]*")
_STRING = re.compile(r'"(?:[^"\\\x00-\x1f]|\\(?:["\\/bfnrt]|u[0-9a-fA-F]{4}))*"')
_NUMBER = re.compile(r"-?(?:0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?")
_WORD = re.compile(r"[-+A-Za-z0-9_.]+")
_CONSTANTS = {"true": True, "false": False, "null": None}


def scan(text: str, first_line: int = 1) -> tuple[Any, Places]:
    """Read one JSON value and note where each part of it stands.

    Parameters
    ----------
    text : the whole text
    first_line : line number of its first line in the file

    Raises
    ------
    InputError : not JSON, a key given twice, or nested too deeply; the line is in the problem

    >>> value, places = scan('{"a": 1,\\n "b": [2]}')
    >>> value, places.line("b[0]")
    ({'a': 1, 'b': [2]}, 2)
    """
    scanner = _Scanner(text, first_line)
    value = scanner.value("", 0)
    scanner.skip()
    if scanner.at < len(text):
        raise scanner.wrong(say("the end of the text"), say("Something follows the end of the sheet."))
    if scanner.twice:
        raise InputError(scanner.twice)
    return value, Places(scanner.lines)


class _Scanner:
    def __init__(self, text: str, first_line: int) -> None:
        self.text, self.at = text, 0
        self.breaks = [m.start() for m in re.finditer("\n", text)]
        self.first_line = first_line
        self.lines: dict[str, int] = {}
        self.twice: list[Problem] = []

    def line(self) -> int:
        return self.first_line + bisect_right(self.breaks, self.at - 1) if self.at else self.first_line

    def skip(self) -> None:
        match = _SPACE.match(self.text, self.at)
        assert match
        self.at = match.end()

    def wrong(self, allowed: str, says: str) -> InputError:
        word = _WORD.match(self.text, self.at)
        found = word[0] if word else self.text[self.at : self.at + 1] or say("the end of the text")
        return InputError([Problem(say("(the file)"), written_as(found), allowed, says, self.line())])

    def value(self, path: str, depth: int) -> Any:
        self.skip()
        self.lines.setdefault(path, self.line())
        if depth > DEEPEST:
            raise self.wrong(say("at most {count} levels", count=DEEPEST), say("Nested too deeply."))
        opening = self.text[self.at : self.at + 1]
        if opening == "{":
            return self.members(path, depth)
        if opening == "[":
            return self.elements(path, depth)
        return self.string() if opening == '"' else self.scalar()

    def members(self, path: str, depth: int) -> dict[str, Any]:
        found: dict[str, Any] = {}
        self.at += 1
        while self.more("}", not found):
            self.skip()
            line = self.line()
            key = self.string()
            where = join(path, key)
            if key in found:
                self.twice.append(Problem(where, written_as(key), say("each key once"), say("Given twice."), line))
            self.lines[where] = line
            self.expect(":")
            found[key] = self.value(where, depth + 1)
        return found

    def elements(self, path: str, depth: int) -> list[Any]:
        found: list[Any] = []
        self.at += 1
        while self.more("]", not found):
            found.append(self.value(f"{path}[{len(found)}]", depth + 1))
        return found

    def more(self, closing: str, first: bool) -> bool:
        """Step over a comma, or over the closing bracket."""
        self.skip()
        if self.text.startswith(closing, self.at):
            self.at += 1
            return False
        if not first:
            self.expect(",", f", or {closing}")
        return True

    def expect(self, mark: str, allowed: str = "") -> None:
        self.skip()
        if not self.text.startswith(mark, self.at):
            raise self.wrong(allowed or mark, say("Not JSON."))
        self.at += 1

    def string(self) -> str:
        match = _STRING.match(self.text, self.at)
        if not match:
            raise self.wrong(say("text in double quotes, on one line"), say("Not JSON."))
        self.at = match.end()
        return str(json.loads(match[0]))

    def scalar(self) -> Any:
        word = _WORD.match(self.text, self.at)
        if word and word[0] in _CONSTANTS:
            self.at = word.end()
            return _CONSTANTS[word[0]]
        match = _NUMBER.match(self.text, self.at)
        if not match or (word and word.end() != match.end()):
            raise self.wrong(say('a number, text in double quotes, true, false, null, "[" or "{"'), say("Not JSON."))
        self.at = match.end()
        if match[1] or match[2]:
            return float(match[0])
        return int(match[0]) if len(match[0]) < 300 else math.copysign(math.inf, -(match[0] < "0"))
