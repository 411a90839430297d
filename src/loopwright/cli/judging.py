"""What `loopwright judge` does: sheets in, text or JSON out, one exit code."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TextIO, TypeAlias

from loopwright import api
from loopwright.api.wire import error_to_wire, to_wire
from loopwright.cli.problems import problems_text
from loopwright.errors import InputError, Problem
from loopwright.figures import Judgement, Terms, judgement_text, picture, save
from loopwright.figures.render import ENDINGS
from loopwright.language import say
from loopwright.readings import Refused, Test, read_text
from loopwright.readings.files import FORMS

__all__ = ["Answer", "Judge", "Judged", "answers", "form_of", "judge_sheets"]

Judged: TypeAlias = tuple[Test, Judgement]
Answer: TypeAlias = Judged | Refused
Judge: TypeAlias = Callable[[str, str, int], Iterable[Judgement | Refused]]

_STANDARD_INPUT = "-"
_RULE = "─" * 80


def through_api(text: str, form: str, seed: int) -> Iterator[Judgement | Refused]:
    """Judge every sheet of a text with the engine, a long batch on all cores."""
    return api.judge_batch(text, form=form, seed=seed, workers=os.cpu_count() or 1)


def judge_sheets(
    names: Sequence[str],
    *,
    as_json: bool = False,
    picture_file: Path | None = None,
    seed: int = 0,
    out: TextIO | None = None,
    judge: Judge = through_api,
) -> int:
    """Judge files in the order given and write each answer as soon as it is there.

    Parameters
    ----------
    names : files, or "-" for standard input
    as_json : the published form instead of text; a batch (.jsonl) is always written so, one record a line
    picture_file : where to draw the judgement; for a single sheet
    seed : of the sampler
    out : where answers go, standard output by default; problems of a sheet go to standard error as text
    judge : what judges the text of a file; the engine by default

    Returns
    -------
    int : exit code; 0 when every file held a sheet that was judged, else 2
    """
    try:
        sources = [(name, *_source(name)) for name in names]
        if picture_file is not None:
            _check_picture(picture_file, [form for _, _, form in sources])
    except InputError as error:
        print(problems_text(say("The input"), error.problems), file=sys.stderr)
        return 2
    page = _Page(out or sys.stdout, sys.stderr, as_json, alone=len(sources) == 1)
    judged = []
    for name, raw, form in sources:
        found = 0
        for answer in answers(raw, form, seed, judge):
            page.write(name, form, answer)
            if not isinstance(answer, Refused):
                found += 1
                if picture_file is not None:
                    save(picture(answer[1], Terms.of(answer[0])), picture_file)
        judged.append(found)
    return 0 if all(judged) else 2


def answers(raw: bytes, form: str, seed: int, judge: Judge = through_api) -> Iterator[Answer]:
    """Judge every sheet of a file's bytes; each comes with its `Test`, which tells the units it was written in."""
    tests = read_text(raw, form)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:  # read_text has said so in `tests`
        text = ""
    results = judge(text, form, seed) if any(isinstance(t, Test) for t in tests) else iter(tests)
    for test, result in zip(tests, results, strict=True):
        if isinstance(test, Refused):
            yield test
        else:
            assert isinstance(result, Judgement)  # the engine refuses no sheet that was read
            yield test, result


def form_of(text: str) -> str:
    """Tell what standard input holds: "json", "jsonl" or "toml".

    >>> form_of('{"id": 1}'), form_of('{"id": 1}\\n{"id": 2}\\n'), form_of('schema = 1')
    ('json', 'jsonl', 'toml')
    """
    lines = [line for line in text.splitlines() if line.strip()]
    if not lines or lines[0].lstrip()[:1] not in ("{", "["):
        return "toml"
    return "jsonl" if len(lines) > 1 and all(line.lstrip().startswith("{") for line in lines) else "json"


def _source(name: str) -> tuple[bytes, str]:
    if name == _STANDARD_INPUT:
        raw = sys.stdin.buffer.read()
        return raw, form_of(raw.decode("utf-8-sig", errors="replace"))
    path = Path(name)
    form = FORMS.get(path.suffix.casefold())
    if form is None:
        raise InputError(
            [Problem(name, path.suffix or say("no ending"), ", ".join(FORMS), say("The ending tells the form."))]
        )
    try:
        return path.read_bytes(), form
    except (OSError, ValueError) as error:
        says = say("Cannot be read: {reason}.", reason=getattr(error, "strerror", None) or error)
        raise InputError([Problem(name, say("no readable file"), say("a file that can be read"), says)]) from error


def _check_picture(path: Path, forms: Sequence[str]) -> None:
    if path.suffix.lower() not in ENDINGS:
        found = path.suffix or say("no ending")
        raise InputError([Problem("--picture", found, say(" or ").join(ENDINGS), say("The ending tells the form."))])
    if len(forms) != 1 or forms[0] == "jsonl":
        raise InputError(
            [Problem("--picture", say("several sheets"), say("one sheet"), say("One picture shows one sheet."))]
        )
    if not path.parent.is_dir():
        raise InputError([Problem("--picture", str(path.parent), say("a folder that exists"), say("No such folder."))])


class _Page:
    """Where answers are written, and how: text, one JSON document, or one JSON record a line."""

    def __init__(self, out: TextIO, err: TextIO, as_json: bool, alone: bool) -> None:
        self._out, self._err, self._as_json, self._alone = out, err, as_json, alone
        self._begun = False

    def write(self, name: str, form: str, answer: Answer) -> None:
        if self._as_json or form == "jsonl":
            whole = self._alone and form != "jsonl"
            self._out.write(json.dumps(_record(answer), ensure_ascii=False, indent=2 if whole else None) + "\n")
        elif isinstance(answer, Refused):
            self._err.write(problems_text(name, answer.problems) + "\n")
        else:
            test, judgement = answer
            self._out.write(f"{_RULE}\n" * self._begun + judgement_text(judgement, Terms.of(test)))
            self._begun = True
        self._out.flush()


def _record(answer: Answer) -> dict[str, object]:
    if isinstance(answer, Refused):
        return error_to_wire(answer.problems, answer.id, answer.line)
    return to_wire(answer[1])
