"""Where every number of ours comes from: `sources.toml`, key to citation."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

from loopwright.cards.convert import record, refuse
from loopwright.errors import CardError

__all__ = ["Source", "check_sources", "sources"]

_FILE = "sources.toml"


@dataclass(frozen=True)
class Source:
    """A work that a number rests on.

    `obtained` says how the value reached us: read in a public `page` or a public `repository`, recalled from `memory`
    (show that beside anything that uses it), `computed` by us, or `practice`: common in the trade, no source.
    """

    citation: str
    obtained: str = field(metadata={"allowed": ("page", "repository", "memory", "computed", "practice")})
    url: str = ""
    note: str = ""


@cache
def sources() -> Mapping[str, Source]:
    """Return every source by its key.

    Raises
    ------
    CardError : the file is not TOML, or an entry lacks its citation or how it was obtained

    >>> sources()["nist-sp811"].obtained
    'repository'
    """
    try:
        text = (files("loopwright.cards") / _FILE).read_text(encoding="utf-8")
        entries = tomllib.loads(text)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise CardError(f"{_FILE}: not readable as TOML: {error}") from error
    return MappingProxyType({key: record(entry, Source, _FILE, key) for key, entry in entries.items()})


def check_sources(table: Any, file: str, at: str = "") -> None:
    """Refuse any `source` in the tree of tables and lists that `sources.toml` does not hold.

    Raises
    ------
    CardError : a source is not a key of `sources.toml`, or is no text
    """
    if isinstance(table, list):
        for i, entry in enumerate(table):
            check_sources(entry, file, f"{at}[{i}]")
    elif isinstance(table, dict):
        for key, entry in table.items():
            where = f"{at}.{key}" if at else key
            if key == "source":
                _check_keys(entry, file, where)
            else:
                check_sources(entry, file, where)


def _check_keys(found: Any, file: str, at: str) -> None:
    keys = found if isinstance(found, list) else [found]
    if not keys:
        raise refuse(file, at, found, "a key of sources.toml, or a list of keys", "No source given.")
    for key in keys:
        if not isinstance(key, str) or key not in sources():
            raise refuse(file, at, key, "a key of cards/sources.toml", "Unknown source.")
