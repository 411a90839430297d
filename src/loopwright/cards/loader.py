"""Reading cards from an installed package, whether it lies in a folder or in an archive."""

from __future__ import annotations

import dataclasses
import tomllib
from importlib.resources import files
from typing import Any, TypeVar, get_type_hints

from loopwright.cards.convert import record, refuse
from loopwright.cards.source import check_sources
from loopwright.errors import CardError

__all__ = ["load", "load_all", "load_text"]

T = TypeVar("T")
_SCHEMA = 1
_HEADER = ("schema", "source", "note")


def load(package: str, path: str, kind: type[T]) -> T:
    """Read one card.

    Parameters
    ----------
    package : the package that owns it ("loopwright.faults")
    path : its place inside the package, with "/" ("catalogue/undercharge.toml")
    kind : a frozen dataclass; its field metadata may give `unit`, `low`, `high` (both inclusive), `allowed`, `says`.
        `schema`, `source` and `note` reach the record if it has such fields (declare `source: tuple[str, ...]`), and
        are checked either way; a field `id` is the file's name without its ending.

    Returns
    -------
    kind : the record, frozen; lists become tuples, tables become dataclasses or read-only mappings

    Raises
    ------
    CardError : no such file, not TOML, an unknown or missing key, no known source, a wrong type, a value out of range
    """
    place = files(package).joinpath(*path.split("/"))
    try:
        text = place.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise CardError(f"{package}/{path}: cannot be read: {error}") from error
    return load_text(text, kind, file=f"{package}/{path}")


def load_all(package: str, folder: str, kind: type[T]) -> dict[str, T]:
    """Read every `.toml` card of a folder, by file name without its ending, in alphabetical order.

    Raises
    ------
    CardError : there is no such folder or no card in it, or a card is wrong
    """
    place = files(package).joinpath(*folder.split("/"))
    names = sorted(p.name for p in place.iterdir() if p.name.endswith(".toml")) if place.is_dir() else []
    if not names:
        raise CardError(f"{package}/{folder}: no cards there.")
    return {name.removesuffix(".toml"): load(package, f"{folder}/{name}", kind) for name in names}


def load_text(text: str, kind: type[T], file: str) -> T:
    """Read one card from its text; `file` is its name, for errors and for a field `id`.

    Raises
    ------
    CardError : as in `load`
    """
    try:
        table = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise CardError(f"{file}: not readable as TOML: {error}") from error
    _check_header(table, file)
    check_sources(table, file)
    result: T = record(_fitted(table, kind, file), kind, file)
    return result


def _check_header(table: dict[str, Any], file: str) -> None:
    schema = table.get("schema")
    if type(schema) is not int or schema != _SCHEMA:
        raise refuse(file, "schema", schema, str(_SCHEMA), "Missing or unknown schema.")
    if "source" not in table:
        raise refuse(file, "source", None, "a key of cards/sources.toml, or a list of keys", "No source given.")
    if not isinstance(table.get("note", ""), str):
        raise refuse(file, "note", table["note"], "text", "Wrong type.")


def _fitted(table: dict[str, Any], kind: Any, file: str) -> dict[str, Any]:
    """Give the record the header fields that it declares, and its id from the file's name."""
    names = {f.name for f in dataclasses.fields(kind)}
    hints = get_type_hints(kind)
    fitted = {k: v for k, v in table.items() if k in names or k not in _HEADER}
    if "source" in names and hints["source"] is not str and isinstance(fitted["source"], str):
        fitted["source"] = [fitted["source"]]
    if "id" in names:
        stem = file.rsplit("/", 1)[-1].removesuffix(".toml")
        if fitted.setdefault("id", stem) != stem:
            raise refuse(file, "id", fitted["id"], stem, "The id differs from the file's name.")
    return fitted
