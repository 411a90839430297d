"""What is wrong with a sheet, as text: all of it together, each with its place, what was found and what is allowed."""

from __future__ import annotations

from collections.abc import Sequence

from loopwright.errors import Problem
from loopwright.figures.layout import folded
from loopwright.language import say, say_many

__all__ = ["problems_text"]


def problems_text(name: str, problems: Sequence[Problem], head: str = "") -> str:
    """Write every problem of a sheet, below `head` where it is another's than a test's.

    >>> print(problems_text("a.json", [Problem("vehicle", "nothing", "a table", "Missing.", 1)]))
    a.json cannot be judged: 1 problem.
    <BLANKLINE>
      line 1, vehicle: Missing.
          found    nothing
          allowed  a table
    """
    count = say_many("{n} problem", "{n} problems", len(problems))
    head = head or say("{name} cannot be judged: {count}.", name=name, count=count)
    return "\n\n".join([head, *(_one(problem) for problem in problems)])


def _one(problem: Problem) -> str:
    line = [say("line {number}", number=problem.line)] if problem.line is not None else []
    where = ", ".join([*line, problem.field] if problem.field else line)
    lines = folded(f"{where}: {problem.says}" if where else problem.says, "  ", "    ")
    for label, text in ((say("found"), problem.found), (say("allowed"), problem.allowed)):
        if text:
            lines += folded(text, f"      {label:<9}")
    return "\n".join(lines)
