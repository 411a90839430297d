"""What happens in a service, as frozen facts, and their form as plain data that any store can keep.

>>> event = Noted(1795600000.0, "Kim", "recover", "recovered_mass", 0.42)
>>> from_plain(to_plain(event)) == event
True
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

from loopwright.errors import InputError, Problem
from loopwright.language import later, say

__all__ = ["Compressor", "Deviated", "Event", "Finished", "Job", "Noted", "Opened", "Started", "from_plain", "to_plain"]

Compressor = Literal["fixed", "variable", "electric"]


@dataclass(frozen=True)
class Job:
    """Vehicle and machine of a service: refrigerant of the label and of the machine, compressor, charge [kg].

    `atmosphere` is the air pressure there [Pa]: what "no pressure" means to a gauge.
    """

    refrigerant: str
    machine_refrigerant: str
    compressor: Compressor
    label_charge: float
    vehicle: str = ""
    atmosphere: float = 101325.0


@dataclass(frozen=True)
class Opened:
    """A job begins; `at` is seconds of a clock that runs on by itself: the wall's, as `time.time()` tells it."""

    at: float
    by: str
    job: Job


@dataclass(frozen=True)
class Started:
    """A step is begun, or begun anew: it and every step that rests on it must then be done again."""

    at: float
    by: str
    step: str


@dataclass(frozen=True)
class Noted:
    """A record of a step: a number in SI, or words."""

    at: float
    by: str
    step: str
    record: str
    value: float | str


@dataclass(frozen=True)
class Finished:
    """A step is done as written."""

    at: float
    by: str
    step: str


@dataclass(frozen=True)
class Deviated:
    """A step is passed over, or ended otherwise than written, for a reason.

    `accepts` repeats the step's hazard ("vent", "hurt", "mixing"): whoever passes over it has read what it can do.
    """

    at: float
    by: str
    step: str
    reason: str
    accepts: str = ""


Event = Opened | Started | Noted | Finished | Deviated
_KINDS: Mapping[str, type[Any]] = {kind.__name__.casefold(): kind for kind in get_args(Event)}


def to_plain(event: Event) -> dict[str, Any]:
    """Return an event as plain data: strings, numbers and one level of mapping, as JSON holds them.

    >>> to_plain(Finished(12.5, "Kim", "identify"))
    {'event': 'finished', 'at': 12.5, 'by': 'Kim', 'step': 'identify'}
    """
    return {"event": type(event).__name__.casefold(), **dataclasses.asdict(event)}


def from_plain(plain: Mapping[str, Any]) -> Event:
    """Return the event of plain data, every field checked for its type.

    Raises
    ------
    InputError : not an event; all that is wrong with it, together

    >>> from_plain({"event": "noted", "at": True, "by": "Kim", "step": "recover", "record": "oil"})
    Traceback (most recent call last):
    loopwright.errors.InputError: at: Not an event of a job. Found True; allowed: a finite number.
    value: Not an event of a job. Found nothing; allowed: a finite number or words.
    """
    name = plain.get("event") if isinstance(plain, Mapping) else None
    kind = _KINDS.get(name.casefold()) if isinstance(name, str) else None
    if kind is None:
        raise InputError([_wrong("event", name, ", ".join(_KINDS))])
    fields, problems = _fields(kind, {key: value for key, value in plain.items() if key != "event"})
    if problems:
        raise InputError(problems)
    event: Event = kind(**fields)
    return event


def _fields(kind: type[Any], plain: Mapping[str, Any], inside: str = "") -> tuple[dict[str, Any], list[Problem]]:
    """The fields of a kind of value as it takes them, and what is wrong with those given."""
    found: dict[str, Any] = {}
    problems = [_wrong(inside + key, plain[key], later("no such field")) for key in plain if key not in _names(kind)]
    for item in dataclasses.fields(kind):
        if item.name not in plain:
            if item.default is dataclasses.MISSING:
                problems.append(_wrong(inside + item.name, None, _ALLOWED[str(item.type)]))
        elif item.type == "Job" and isinstance(plain[item.name], Mapping):
            inner, wrong = _fields(Job, plain[item.name], f"{item.name}.")
            problems += wrong
            found[item.name] = None if wrong else Job(**inner)
        elif _fits(str(item.type), plain[item.name]):
            value = plain[item.name]
            found[item.name] = value if isinstance(value, str) else float(value)
        else:
            problems.append(_wrong(inside + item.name, plain[item.name], _ALLOWED[str(item.type)]))
    return found, problems


_ALLOWED: Mapping[str, str] = {
    "float": later("a finite number"),
    "str": later("words"),
    "float | str": later("a finite number or words"),
    "Compressor": ", ".join(get_args(Compressor)),
    "Job": later("vehicle and machine of the service"),
}


def _names(kind: type[Any]) -> set[str]:
    return {item.name for item in dataclasses.fields(kind)}


def _fits(kind: str, value: object) -> bool:
    if kind == "Compressor":
        return value in get_args(Compressor)
    if isinstance(value, str):
        return "str" in kind
    return "float" in kind and isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _wrong(field: str, found: object, allowed: str) -> Problem:
    shown = say("nothing") if found is None else repr(found)[:60]
    return Problem(field, shown, say(allowed), say("Not an event of a job."))
