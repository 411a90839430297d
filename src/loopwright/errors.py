"""Every exception of ours, as one tree.

LoopwrightError
├── InputError      a person's data cannot be used (also a ValueError); carries every problem found
│   └── AbsentError     what was asked for by its name is not there
└── CardError       one of our own data files is wrong (also a ValueError)
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["AbsentError", "CardError", "InputError", "LoopwrightError", "Problem"]


@dataclass(frozen=True)
class Problem:
    """One thing wrong in what a person wrote.

    `field` is the path of the value ("readings[2].value"), `found` the value as written, `allowed` what would be
    accepted, `line` the line in the file it came from, or None where there is no file, and `says` the plain sentence.
    """

    field: str
    found: str
    allowed: str
    says: str
    line: int | None = None

    def __str__(self) -> str:
        where = f"line {self.line}: " if self.line is not None else ""
        return f"{where}{self.field}: {self.says} Found {self.found}; allowed: {self.allowed}."


class LoopwrightError(Exception):
    """Base of every exception that Loopwright raises on purpose."""


class InputError(LoopwrightError, ValueError):
    """A person's data cannot be used; `problems` lists everything found, gathered in one pass."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(p) for p in self.problems))


class AbsentError(InputError):
    """What was asked for by its name is not there: a job, a vehicle, a photograph."""


class CardError(LoopwrightError, ValueError):
    """One of Loopwright's own data files has an unknown key, no source, or a value out of range."""
