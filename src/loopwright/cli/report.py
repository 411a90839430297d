"""What `loopwright report` does: one or two sheets in, a PDF on the disk."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from loopwright.api.report import report_pdf
from loopwright.cli.problems import problems_text
from loopwright.errors import InputError, Problem
from loopwright.language import say, spoken
from loopwright.readings import Refused, Test, read_file

__all__ = ["write_report"]

PAPERS = ("a4", "letter")


def write_report(
    sheet: Path,
    after: Path | None,
    out: Path,
    *,
    paper: str = "a4",
    seed: int = 0,
    about: Mapping[str, Any] | None = None,
) -> int:
    """Judge the sheets and write their report.

    Parameters
    ----------
    sheet, after : files of one sheet each, .json or .toml
    out : where the PDF goes
    paper, seed, about : as for `api.report.report_pdf`; the language is the one spoken

    Returns
    -------
    int : exit code; 0 when the report was written, else 2, and what is wrong stands on standard error
    """
    try:
        tests = [_one(path) for path in (sheet, after) if path is not None]
        _check_out(out)
        if paper not in PAPERS:
            raise _refuse("--paper", paper, " or ".join(PAPERS), say("Not a size of paper that is set."))
        made = report_pdf(*tests, paper=paper, language=spoken(), seed=seed, **(about or {}))  # type: ignore[arg-type]
        out.write_bytes(made)
    except InputError as error:
        print(problems_text(say("The input"), error.problems), file=sys.stderr)
        return 2
    except OSError as error:
        problem = Problem("--out", str(out), say("a file that can be written"), f"{error.strerror or error}.")
        print(problems_text(say("The output"), [problem]), file=sys.stderr)
        return 2
    return 0


def _check_out(out: Path) -> None:
    """Refuse before the judging what cannot be written after it."""
    if not out.parent.is_dir():
        raise _refuse("--out", str(out.parent), say("a folder that exists"), say("No such folder."))
    if out.is_dir():
        raise _refuse("--out", str(out), say("a file that can be written"), say("This is a folder."))


def _one(path: Path) -> Test:
    tests = read_file(path)
    if len(tests) != 1:
        found = say("{n} sheets", n=len(tests))
        raise _refuse(str(path), found, say("one sheet"), say("A report is about one vehicle."))
    if isinstance(tests[0], Refused):
        raise tests[0].error()
    return tests[0]


def _refuse(field: str, found: str, allowed: str, says: str) -> InputError:
    return InputError([Problem(field, found, allowed, says)])
