"""The few kinds of block that the appendix is made of, as plain data for the template."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, TypeAlias

__all__ = ["Json", "lines", "pairs", "section", "sentences", "table"]

Json: TypeAlias = dict[str, Any]


def section(title: str, blocks: Iterable[Json], level: int = 1) -> Json:
    """Return a section with those of its blocks that hold anything.

    >>> section("Notes", [lines([]), lines(["one"])])["blocks"]
    [{'kind': 'lines', 'title': '', 'rows': ['one']}]
    """
    return {"title": title, "level": level, "blocks": [block for block in blocks if block["rows"]]}


def pairs(found: Iterable[tuple[str, str]], title: str = "") -> Json:
    """Return a block of names with their values; a pair without a value is left out."""
    return {"kind": "pairs", "title": title, "rows": [[name, value] for name, value in found if value]}


def table(heads: Sequence[str], columns: str, found: Iterable[Sequence[str]], title: str = "") -> Json:
    """Return a table; `columns` holds a letter each: l(eft), r(ight), w(ide, left). An empty column is left out.

    >>> table(["Step", "By"], "wl", [["Recover", ""]])["heads"]
    ['Step']
    """
    rows = [list(row) for row in found]
    full = [i for i in range(len(heads)) if any(row[i] for row in rows)]
    return {
        "kind": "table",
        "title": title,
        "heads": [heads[i] for i in full],
        "columns": [columns[i] for i in full],
        "rows": [[row[i] for i in full] for row in rows],
    }


def sentences(*found: str, title: str = "") -> Json:
    """Return a block of sentences, a paragraph each; empty ones are left out."""
    return {"kind": "sentences", "title": title, "rows": [said for said in found if said]}


def lines(found: Iterable[str], title: str = "") -> Json:
    """Return a list, each item on lines of its own; empty ones are left out."""
    return {"kind": "lines", "title": title, "rows": [item for item in found if item.strip()]}
