"""From what TOML holds to what a dataclass declares, with every departure refused by name."""

from __future__ import annotations

import dataclasses
import math
import types
import typing
from collections.abc import Mapping
from difflib import get_close_matches
from typing import Any, Literal, Union, get_args, get_origin

from loopwright.errors import CardError, Problem

__all__ = ["record", "refuse"]

_METADATA = {"unit", "low", "high", "allowed", "says"}


def refuse(file: str, key: str, found: object, allowed: str, says: str) -> CardError:
    """Build the error for one key of one file.

    >>> str(refuse("a.toml", "charge", -1, "0 to 5 kg", "Out of range."))
    'a.toml: charge: Out of range. Found -1; allowed: 0 to 5 kg.'
    """
    return CardError(f"{file}: {Problem(field=key, found=repr(found), allowed=allowed, says=says)}")


def record(table: object, kind: type[Any], file: str, at: str = "") -> Any:
    """Turn a TOML table into `kind`, a frozen dataclass.

    Parameters
    ----------
    table : what TOML held at this place
    kind : the dataclass; a field's metadata may give `unit`, `low`, `high` (inclusive), `allowed` and `says`
    file : name of the file, for the error
    at : path of the table inside the file, "" at the top

    Raises
    ------
    CardError : unknown or missing key, wrong type, value out of the declared range
    """
    if not isinstance(table, Mapping):
        raise refuse(file, at, table, f"a table of {kind.__name__}", "Not a table.")
    fields = {f.name: f for f in dataclasses.fields(kind) if f.init}
    hints = _hints(kind)
    _check_keys(table, fields, file, at)
    values = {
        name: _value(table[name], hints[name], _limits(f), file, _join(at, name))
        for name, f in fields.items()
        if name in table
    }
    try:
        return kind(**values)
    except ValueError as error:  # the record's own __post_init__ knows rules that span several fields
        if isinstance(error, CardError):
            raise
        raise refuse(file, at or "(the card)", "these values", str(error), "They do not fit together.") from error


def _hints(kind: type[Any]) -> dict[str, Any]:
    return typing.get_type_hints(kind)


def _join(at: str, name: str) -> str:
    return f"{at}.{name}" if at else name


def _limits(field: dataclasses.Field[Any]) -> Mapping[str, Any]:
    if unknown := set(field.metadata) - _METADATA:
        raise TypeError(f"field {field.name}: metadata {sorted(unknown)} is none of {sorted(_METADATA)}")
    return field.metadata


def _check_keys(table: Mapping[str, Any], fields: Mapping[str, dataclasses.Field[Any]], file: str, at: str) -> None:
    for key in table:
        if key not in fields:
            near = get_close_matches(key, fields, n=1)
            hint = f" Did you mean {near[0]}?" if near else ""
            raise refuse(file, _join(at, key), key, ", ".join(fields), f"Unknown key.{hint}")
    for name, field in fields.items():
        needed = field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
        if needed and name not in table:
            raise refuse(file, _join(at, name), "nothing", field.metadata.get("unit", "a value"), "Missing key.")


def _value(found: Any, hint: Any, limits: Mapping[str, Any], file: str, at: str) -> Any:
    """Convert one value to its declared type; ranges and allowed values apply to each element of a tuple."""
    origin = get_origin(hint)
    if origin in (Union, types.UnionType):
        return _union(found, hint, limits, file, at)
    if origin is tuple:
        return _tuple(found, get_args(hint), limits, file, at)
    if origin is not None and origin is not Literal and issubclass(origin, Mapping):
        return _mapping(found, get_args(hint)[1], limits, file, at)
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return record(found, hint, file, at)
    return _scalar(found, hint, limits, file, at)


def _union(found: Any, hint: Any, limits: Mapping[str, Any], file: str, at: str) -> Any:
    """TOML has no null, so `X | None` is X when written; otherwise the first member that accepts the value wins."""
    members = [m for m in get_args(hint) if m is not type(None)]
    error: CardError | None = None
    for member in members:
        try:
            return _value(found, member, limits, file, at)
        except CardError as caught:
            error = caught
    assert error is not None
    raise error


def _tuple(found: Any, members: tuple[Any, ...], limits: Mapping[str, Any], file: str, at: str) -> tuple[Any, ...]:
    if not isinstance(found, list):
        raise refuse(file, at, found, "a list", "Not a list.")
    if len(members) == 2 and members[1] is Ellipsis:
        members = (members[0],) * len(found)
    if len(members) != len(found):
        raise refuse(file, at, found, f"a list of {len(members)}", "Wrong length.")
    return tuple(_value(v, m, limits, file, f"{at}[{i}]") for i, (v, m) in enumerate(zip(found, members, strict=True)))


def _mapping(found: Any, member: Any, limits: Mapping[str, Any], file: str, at: str) -> Mapping[str, Any]:
    if not isinstance(found, Mapping):
        raise refuse(file, at, found, "a table", "Not a table.")
    return types.MappingProxyType({k: _value(v, member, limits, file, _join(at, k)) for k, v in found.items()})


def _scalar(found: Any, hint: Any, limits: Mapping[str, Any], file: str, at: str) -> Any:
    if get_origin(hint) is Literal:
        limits, hint = {**limits, "allowed": get_args(hint)}, type(get_args(hint)[0])
    if hint is float and type(found) is int:
        found = float(found)
    if type(found) is not hint:  # exact: a bool is no int here, and an int no bool
        raise refuse(file, at, found, getattr(hint, "__name__", str(hint)), "Wrong type.")
    _check_range(found, limits, file, at)
    return found


def _check_range(found: Any, limits: Mapping[str, Any], file: str, at: str) -> None:
    if "allowed" in limits and found not in limits["allowed"]:
        raise refuse(file, at, found, ", ".join(map(str, limits["allowed"])), "Not one of the allowed values.")
    if type(found) is not float and type(found) is not int:
        return
    low, high = limits.get("low", -math.inf), limits.get("high", math.inf)
    if not (math.isfinite(found) and low <= found <= high):
        unit = limits.get("unit", "")
        raise refuse(file, at, found, f"{low:g} to {high:g} {unit}".rstrip(), "Out of range.")
