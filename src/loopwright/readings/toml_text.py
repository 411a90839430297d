"""TOML with the line of every value: the standard library reads it, and a second look finds where things stand."""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_left
from contextlib import suppress
from typing import Any

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.readings.gather import join
from loopwright.readings.places import Places

__all__ = ["scan"]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_KEY = re.compile(r"""[ \t]*(?:"((?:[^"\\\n]|\\.)*)"|'([^'\n]*)'|([A-Za-z0-9_-]+))[ \t]*""")
_STRINGS = (
    re.compile(r'"""(?:[^\\]|\\.)*?"""(?:"{0,2}(?!"))', re.DOTALL),
    re.compile(r"'''.*?'''(?:'{0,2}(?!'))", re.DOTALL),
    re.compile(r'"(?:[^"\\\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)
_BARE = re.compile(r"[^,\]}\n#]*")
_WHERE = re.compile(r"\(at line (\d+), column \d+\)|\(at end of document\)")


def scan(text: str) -> tuple[dict[str, Any], Places]:
    """Read a TOML text and note where each value stands.

    Raises
    ------
    InputError : not TOML, a key given twice among it, with the line

    >>> value, places = scan('[vehicle]\\nrefrigerant = "R134a"\\n\\n[[readings]]\\nvalue = 30\\n')
    >>> places.line("vehicle.refrigerant"), places.line("readings[0].value")
    (2, 5)
    """
    try:
        found = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # ValueError: also a number of thousands of digits
        raise InputError([_not_toml(text, error)]) from error
    finder = _Finder(text)
    with suppress(RecursionError):  # deeper than any sheet; the values themselves are refused by their own checks
        finder.statements()
    return found, Places(finder.lines)


def _not_toml(text: str, error: Exception) -> Problem:
    deep = isinstance(error, RecursionError)
    says = say("nested too deeply") if deep else _WHERE.sub("", str(error)).strip()
    place = _WHERE.search(str(error))
    line = None if place is None else int(place[1]) if place[1] else text.count("\n") + 1
    return Problem(
        say("(the file)"),
        say("text that is not TOML"),
        say("a sheet in TOML"),
        say("Not TOML: {says}.", says=says),
        line,
    )


class _Finder:
    """Walks text that is known to be TOML; only keys, brackets and the ends of values matter."""

    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.lines: dict[str, int] = {"": 1}
        self.breaks = [m.start() for m in re.finditer("\n", text)]
        self.counts: dict[str, int] = {}

    def statements(self) -> None:
        table = ""
        while self.skip() < len(self.text):
            if self.text.startswith("[", self.at):
                table = self.header()
            else:
                self.pair(table)

    def skip(self) -> int:
        match = _BLANK.match(self.text, self.at)
        assert match
        self.at = match.end()
        return self.at

    def line(self) -> int:
        return bisect_left(self.breaks, self.at) + 1

    def header(self) -> str:
        line, array = self.line(), self.text.startswith("[[", self.at)
        self.at += 2 if array else 1
        path = ""
        for i, key in enumerate(keys := self.keys()):
            path = join(path, key)
            if array and i == len(keys) - 1:
                self.counts[path] = self.counts.get(path, -1) + 1
                self.lines.setdefault(path, line)
            if path in self.counts:
                path += f"[{self.counts[path]}]"
        self.at += 2 if array else 1
        self.lines.setdefault(path, line)
        return path

    def keys(self) -> list[str]:
        found = []
        while match := _KEY.match(self.text, self.at):
            found.append(next(part for part in match.groups() if part is not None))
            self.at = match.end()
            if not self.text.startswith(".", self.at):
                break
            self.at += 1
        return found

    def pair(self, table: str) -> None:
        line, path = self.line(), table
        for key in self.keys():
            path = join(path, key)
            self.lines.setdefault(path, line)
        self.at += 1  # the equals sign
        self.value(path)

    def value(self, path: str) -> None:
        self.skip()
        self.lines.setdefault(path, self.line())
        if self.text.startswith("[", self.at):
            self.inside(path, "]")
        elif self.text.startswith("{", self.at):
            self.inside(path, "}")
        else:
            match = next((m for s in _STRINGS if (m := s.match(self.text, self.at))), _BARE.match(self.text, self.at))
            assert match
            self.at = match.end()

    def inside(self, path: str, closing: str) -> None:
        """Walk an array or an inline table."""
        self.at += 1
        count = 0
        while not self.text.startswith(closing, self.skip()) and self.at < len(self.text):
            if closing == "]":
                self.value(f"{path}[{count}]")
                count += 1
            else:
                self.pair(path)
            if self.text.startswith(",", self.skip()):
                self.at += 1
        self.at += 1
