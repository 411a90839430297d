"""Test sheets from files: one in a JSON or TOML file, one a line in JSON Lines; a bad sheet never stops the others."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.quantities import written_as
from loopwright.readings import json_text, toml_text
from loopwright.readings.gather import LONGEST_TEXT, is_text
from loopwright.readings.places import Places
from loopwright.readings.read import read
from loopwright.readings.records import Refused, Test

__all__ = ["FORMS", "read_file", "read_lines", "read_text"]

FORMS = {".json": "json", ".toml": "toml", ".jsonl": "jsonl", ".ndjson": "jsonl"}


def read_file(path: str | Path) -> list[Test | Refused]:
    """Read every sheet of a file, in order; a sheet that cannot be used stands as a `Refused` in its place.

    Parameters
    ----------
    path : a file ending in .json or .toml (one sheet), .jsonl or .ndjson (one sheet a line), UTF-8

    Raises
    ------
    InputError : the file cannot be read at all, or its ending says none of these
    """
    path = Path(path)
    form = FORMS.get(path.suffix.casefold())
    if form is None:
        raise _unreadable(
            path, path.suffix or say("no ending"), ", ".join(FORMS), say("The ending does not say what is inside.")
        )
    try:
        raw = path.read_bytes()
    except (OSError, ValueError) as error:
        says = say("Cannot be read: {reason}.", reason=getattr(error, "strerror", None) or error)
        raise _unreadable(path, say("no readable file"), say("a file that can be read"), says) from error
    return read_text(raw, form)


def read_text(raw: bytes | str, form: str) -> list[Test | Refused]:
    """Read every sheet of a text; `form` is "json", "toml", "jsonl", or a file's name that ends so.

    Raises
    ------
    InputError : the form is none of these

    >>> [refused] = read_text('{"weather": {"air_temperature_c": 21}}', "json")
    >>> print(refused.problems[0])
    line 1: vehicle: Missing. Found nothing; allowed: a value.
    """
    form = FORMS.get(Path(form).suffix.casefold(), form)
    if form not in FORMS.values():
        raise InputError([Problem("form", written_as(form), "json, toml, jsonl", say("Not a form of sheet."))])
    try:
        text = _decoded(raw)
    except InputError as error:
        return [Refused("", None, error.problems)]
    return list(read_lines(text)) if form == "jsonl" else [_one(text, form, 1)]


def read_lines(text: str) -> Iterator[Test | Refused]:
    """Read sheets one a line, lazily; blank lines are passed over and counted."""
    for number, line in enumerate(text.split("\n"), start=1):
        if line.strip():
            yield _one(line, "json", number)


def _one(text: str, form: str, first_line: int) -> Test | Refused:
    identity, places = "", Places({"": first_line})
    try:
        sheet, places = toml_text.scan(text) if form == "toml" else json_text.scan(text, first_line)
        identity = _identity(sheet)
        return read(sheet, places)
    except InputError as error:
        return Refused(identity, places.line(""), error.problems)


def _identity(sheet: Any) -> str:
    found = sheet.get("id") if isinstance(sheet, Mapping) else None
    return found if isinstance(found, str) and len(found) <= LONGEST_TEXT and is_text(found) else ""


def _decoded(raw: bytes | str) -> str:
    if isinstance(raw, str):
        return raw.removeprefix("\ufeff")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        found = say("byte {byte} at position {place}", byte=raw[error.start : error.start + 1].hex(), place=error.start)
        says = say("Not UTF-8 text; save the file as UTF-8.")
        raise InputError([Problem(say("(the file)"), found, say("UTF-8 text"), says, line)]) from error


def _unreadable(path: Path, found: str, allowed: str, says: str) -> InputError:
    return InputError([Problem(written_as(path.name), found, allowed, says)])
