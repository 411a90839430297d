"""Reading what a person wrote into a calculation: values with their unit and limits, choices, days, series, files.

A text never names a file: what comes from a page is content. Only a `Path` is opened, and the command line makes one.
"""

from __future__ import annotations

import dataclasses
import datetime
import json
import math
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.quantities import absolute, find_unit, from_si, number, parse, units_of, written_as
from loopwright.service.charging import ChargeBand
from loopwright.service.leak_rate import OUNCE, YEAR
from loopwright.service.sheets import Calculator, Field, Pressure
from loopwright.service.uncertain import Uncertain, from_limits

__all__ = ["read_fields", "read_value", "units_for"]

WEATHER = 3000.0  # Pa, what the weather moves the standard atmosphere by either way (common practice, no source)
_PLUS_MINUS = re.compile(r"\s*(?:±|\+/-|\+-)\s*")
_FLOWS = {"m3/s": 1.0, "l/s": 1e-3, "l/min": 1e-3 / 60.0, "m3/h": 1.0 / 3600.0, "cfm": 0.3048**3 / 60.0}
_TIMES = {"d": 86400.0, "day": 86400.0, "days": 86400.0, "months": YEAR / 12.0, "yr": YEAR, "years": YEAR}
_LEAKS = {  # throughput in Pa m3/s, or mass in kg/s
    "pam3/s": (1.0, "throughput"),
    "mbarl/s": (0.1, "throughput"),
    "g/yr": (1e-3 / YEAR, "mass"),
    "oz/yr": (OUNCE / YEAR, "mass"),
}
_DIFFERENCE = {"pressure": "pressure_difference", "temperature": "temperature_difference"}
_NUMBER_AND_UNIT = re.compile(r"\s*([-+0-9.,eE]+(?:[eE][-+]?\d+)?)\s*(.*)")


def read_fields(
    form: Calculator, written: Mapping[str, Any], today: datetime.date | None
) -> tuple[dict[str, Any], tuple[tuple[str, str], ...]]:
    """Read every field as the calculation takes it, and what was taken, as words.

    Raises
    ------
    InputError : every field that cannot be read, together
    """
    names = [f.name for f in form.fields]
    problems = [
        Problem(name, say("a value"), ", ".join(names), say("No such field of this calculation."))
        for name in written
        if name not in names
    ]
    given: dict[str, Any] = {"atmosphere": None}
    shown: list[tuple[str, str]] = []
    # Barometer and altitude first: gauge readings need them.
    for item in sorted(form.fields, key=lambda f: f.name not in ("barometer", "altitude")):
        value = written.get(item.name)
        try:
            given[item.name], text = _field(item, value, given, today)
            if text:
                shown.append((say(item.name.replace("_", " ")), text))
        except InputError as error:
            problems += [dataclasses.replace(p, field=item.name) for p in error.problems]
        if item.name == "altitude":
            given["atmosphere"] = _atmosphere(given)
    if problems:
        raise InputError(problems)
    order = {say(f.name.replace("_", " ")): i for i, f in enumerate(form.fields)}
    return given, tuple(sorted(shown, key=lambda pair: order[pair[0]]))


def read_value(item: Field, value: Any, atmosphere: float) -> float | str:
    """One value of a service record: a number in SI (pressures absolute), or words.

    Raises
    ------
    InputError : it cannot be read

    >>> round(read_value(Field("pressure", "pressure", "after the wait", "kPa", exact=True), "-10", 101325.0))
    91325
    """
    found, _ = _field(item, value, {"atmosphere": Uncertain(atmosphere)}, None)
    return found if isinstance(found, str) else float(found)


def units_for(item: Field) -> tuple[str, ...]:
    """Units in which a field may be written, its own first; none for words.

    >>> units_for(Field("leak", "leak_rate", ""))
    ('Pa·m³/s', 'mbar·L/s', 'g/yr', 'oz/yr')
    """
    if item.kind == "leak_rate":
        return "Pa·m³/s", "mbar·L/s", "g/yr", "oz/yr"
    if item.kind == "flow":
        found: tuple[str, ...] = ("L/min", "L/s", "m3/s", "m3/h", "cfm")
    else:
        kind = "pressure" if item.kind == "absolute_pressure" else item.kind
        found = tuple(u.symbol for u in units_of(kind))  # type: ignore[arg-type]  # other kinds have no units
    found += ("d", "months", "yr") if item.kind == "time" else ()
    return tuple(dict.fromkeys((item.unit, *found))) if item.unit else found


def _atmosphere(given: Mapping[str, Any]) -> Uncertain | None:
    from loopwright.fluids.atmosphere import pressure

    if given.get("barometer"):
        found: Uncertain = given["barometer"].absolute
        return found
    if given.get("altitude") is None:
        return None
    return from_limits(float(pressure(given["altitude"])), WEATHER)


def _field(item: Field, value: Any, given: Mapping[str, Any], today: datetime.date | None) -> tuple[Any, str]:
    if item.kind == "flag":
        return _flag(value)
    if item.kind == "date" and item.name == "today" and value in (None, ""):
        day = today or datetime.date.today()
        return day, day.isoformat()
    taken = ""
    if value is None or value == "":
        if item.default:
            value, taken = item.default, say(" (taken)")
        elif item.required:
            raise InputError([Problem("", say("nothing"), say(item.says), say("Missing."))])
        else:
            return ("" if item.kind == "choice" else () if item.kind == "list" else None), ""
    if item.kind in _WORDS:
        found, text = _WORDS[item.kind](item, value)
    else:
        found, text = _measured(item, value, given)
    return found, text + taken


def _flag(value: Any) -> tuple[bool, str]:
    if value not in (None, False, True, "", "no", "yes", "on"):  # "on" is what a ticked box of a page sends
        raise InputError([Problem("", written_as(value), say("yes or no"), say("Neither yes nor no."))])
    found = value in (True, "yes", "on")
    return found, say("yes") if found else ""


def _within(item: Field, value: float) -> float:
    """Return a value in SI if it lies where this field can lie."""
    low, high = item.range
    if not low <= value <= high:
        names = {"temperature": "K", "temperature_difference": "K", "mass": "kg", "volume": "m3", "time": "s"}
        unit = names.get(
            item.kind, say("Pa absolute") if "pressure" in item.kind else "m" if item.kind == "length" else ""
        )
        allowed = say("{low:g} to {high:g} {unit}", low=low, high=high, unit=unit).rstrip()
        raise InputError(
            [Problem("", f"{value:g} {unit}".rstrip(), allowed, say("Out of range: a slip, or another unit?"))]
        )
    return value


def _number(item: Field, value: Any) -> tuple[float, str]:
    return _within(item, _number_and_unit(value, "")[0]), str(value)


def _choice(item: Field, value: Any) -> tuple[str, str]:
    spelt = {choice.casefold(): choice for choice in item.choices}
    found = spelt.get(str(value).strip().casefold())
    if found is None:
        raise InputError([Problem("", written_as(value), ", ".join(item.choices), say("Not one of the choices."))])
    return found, found


def _date(item: Field, value: Any) -> tuple[datetime.date, str]:
    try:
        day = value if isinstance(value, datetime.date) else datetime.date.fromisoformat(str(value).strip())
    except ValueError as error:
        raise InputError(
            [Problem("", written_as(value), say("year-month-day, as 2024-03-31"), say("No date."))]
        ) from error
    return day, day.isoformat()


def _list(item: Field, value: Any) -> tuple[tuple[str, ...], str]:
    if not isinstance(value, str | list | tuple):
        raise InputError([Problem("", written_as(value), say("names with commas between"), say("No list."))])
    entries = [str(v).strip() for v in (value.split(",") if isinstance(value, str) else value)]
    return tuple(v for v in entries if v), ", ".join(entries)


def _leak(item: Field, value: Any) -> tuple[tuple[float, str], str]:
    amount, unit = _number_and_unit(value, "")
    plain = unit.replace("·", "").replace(".", "").replace("³", "3").replace("^", "").replace(" ", "").casefold()
    if plain not in _LEAKS:
        says = say("Not a unit of leak rate.")
        raise InputError([Problem("", written_as(value), "Pa.m3/s, mbar.L/s, g/yr, oz/yr", says)])
    factor, what = _LEAKS[plain]
    return (amount * factor, what), str(value)


def _content(value: str | Path) -> str:
    """A text as it is; of a path, what the file holds."""
    if isinstance(value, str):
        return value
    try:
        return value.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        says = say("Cannot be read: {error}.", error=error)
        raise InputError([Problem("", str(value), say("a readable text file"), says)]) from error


def _series(item: Field, value: Any) -> tuple[tuple[list[float], list[float]], str]:
    if isinstance(value, str | Path):
        pairs = _pairs(_content(value))
        text = value.name if isinstance(value, Path) else say("as given")
    else:
        try:
            pairs, text = [(float(t), float(p)) for t, p in value], say("as given")
        except (TypeError, ValueError) as error:
            allowed = say("a file, or pairs of time and absolute pressure")
            raise InputError([Problem("", written_as(value), allowed, say("No readings."))]) from error
    count = say("{count} readings, {source}", count=len(pairs), source=text)
    return ([t for t, _ in pairs], [p for _, p in pairs]), count


def _pairs(content: str) -> list[tuple[float, float]]:
    """Two columns, time and absolute pressure, in s and Pa or in the units of a first line such as "min,micron"."""
    time_unit, pressure_unit = find_unit("s", "time")[0], find_unit("Pa", "pressure")[0]
    pairs: list[tuple[float, float]] = []
    for i, line in enumerate(content.splitlines(), 1):
        cells = [cell.strip() for cell in re.split(r"[;,\t]", line) if cell.strip()]
        if not cells or line.lstrip().startswith("#"):
            continue
        try:
            if i == 1 and not cells[0][0].isdigit():
                time_unit, pressure_unit = find_unit(cells[0], "time")[0], find_unit(cells[1], "pressure")[0]
                continue
            pairs.append((number(cells[0]) * time_unit.factor, number(cells[1]) * pressure_unit.factor))
        except (InputError, IndexError) as error:
            allowed = say("two numbers, time and absolute pressure; units in the first line")
            raise InputError([Problem("", line[:60], allowed, say("Not a reading."), i)]) from error
    return pairs


def _judgement(item: Field, value: Any) -> tuple[ChargeBand, str]:
    """The charge that a performance test tells: of a judgement, of its published form, or of that as text or file."""
    allowed = say("a judgement as `loopwright judge --json` prints it, with a charge among its states")
    try:
        plain = json.loads(_content(value)) if isinstance(value, str | Path) else value
        states = plain["states"] if isinstance(plain, Mapping) else plain.states
        if isinstance(plain, Mapping):
            low, median, high = (float(states["charge_g"][end]) / 1e3 for end in ("low", "median", "high"))
            level = float(states["charge_g"]["level"])
        else:
            charge = states["charge"]
            low, median, high, level = charge.low, charge.median, charge.high, charge.level
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError([Problem("", written_as(value)[:60], allowed, say("Tells of no charge."))]) from error
    return ChargeBand(low, median, high, level), value.name if isinstance(value, Path) else say("as given")


_WORDS: Mapping[str, Callable[[Field, Any], tuple[Any, str]]] = {
    "choice": _choice,
    "date": _date,
    "list": _list,
    "leak_rate": _leak,
    "series": _series,
    "judgement": _judgement,
    "text": lambda item, value: (str(value).strip(), str(value).strip()),
    "number": _number,
}


def _measured(item: Field, value: Any, given: Mapping[str, Any]) -> tuple[Any, str]:
    """A quantity with what limits it: written beside it, or the field's own."""
    first, half = _split(value)
    if item.kind in ("flow", "time") and (extra := _extra(item, first)) is not None:
        si, shown_half, text = extra, None, _with_unit(first, item.unit)
    else:
        kind = "pressure" if item.kind == "absolute_pressure" else item.kind
        quantity = parse(first, kind, default=item.unit or None)  # type: ignore[arg-type]
        unit = quantity.unit.symbol
        si, text = quantity.value, _with_unit(first, unit)
        shown_half = None if half is None else _half(half, kind, unit, si)
        if kind == "pressure":
            return _pressure(item, quantity, shown_half, given, text, half)
    if shown_half is None and half is not None:
        shown_half = _relative(half, si)
    _within(item, si)
    limit = item.limit + item.relative * abs(si) if shown_half is None else shown_half
    if item.exact:
        return si, text
    return from_limits(si, limit), text + _limit_text(item, limit, half)


def _pressure(
    item: Field, quantity: Any, half: float | None, given: Mapping[str, Any], text: str, written: str | None
) -> tuple[Pressure | float, str]:
    reference = "absolute" if item.kind == "absolute_pressure" else "gauge"
    atmosphere = given["atmosphere"] or Uncertain(101325.0, WEATHER / math.sqrt(3.0))
    value = _within(item, absolute(quantity, atmosphere.value, reference))  # type: ignore[arg-type]
    if item.exact:
        return value, text
    limit = item.limit + item.relative * abs(value) if half is None else half
    is_gauge = (quantity.reference or reference) != "absolute"
    text += _limit_text(item, limit, written) + ", " + (say("gauge") if is_gauge else say("absolute"))
    return Pressure(from_limits(value, limit), atmosphere.sigma if is_gauge else 0.0), text


def _with_unit(value: Any, unit: str) -> str:
    """Return what was written, with the unit that it was taken in where it carries none."""
    text = str(value)
    return text if re.search(r"[^-+0-9.,eE\s]", text) else f"{text} {unit}"


def _split(value: Any) -> tuple[Any, str | None]:
    """Value and what follows its "±"; a unit may stand behind either."""
    if not isinstance(value, str):
        return value, None
    parts = _PLUS_MINUS.split(value.strip())
    if len(parts) == 1:
        return value.strip(), None
    if len(parts) != 2 or parts[1].lstrip().startswith("-"):
        raise InputError(
            [Problem("", written_as(value), say("one value with one ±, as 25 ± 0.5 °C"), say("Not a value."))]
        )
    first, half = parts
    unit = _NUMBER_AND_UNIT.fullmatch(half)
    if unit and unit[2] and unit[2] != "%" and re.fullmatch(r"[-+0-9.,eE\s]+", first):
        first = f"{first} {unit[2]}"
    return first, half


def _half(half: str, kind: str, unit: str, value: float) -> float:
    if half.strip().endswith("%") and kind != "fraction":
        return _relative(half, value)
    return abs(parse(half, _DIFFERENCE.get(kind, kind), default=unit).value)  # type: ignore[arg-type]


def _relative(half: str, value: float) -> float:
    amount, unit = _number_and_unit(half, "")
    if unit != "%":
        raise InputError([Problem("", half, say("a share, as 20 %"), say("Limits of this field are a share."))])
    return abs(value) * amount / 100.0


def _extra(item: Field, value: Any) -> float | None:
    """Units that only service writes: pumping speeds, and days to years."""
    table = _FLOWS if item.kind == "flow" else _TIMES
    amount, unit = _number_and_unit(value, item.unit)
    plain = unit.replace("³", "3").replace(" ", "").casefold()
    if plain in table:
        return amount * table[plain]
    if item.kind == "time":
        return None
    raise InputError([Problem("", written_as(value), ", ".join(_FLOWS), say("Not a unit of pumping speed."))])


def _number_and_unit(value: Any, default: str) -> tuple[float, str]:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value), default
    match = _NUMBER_AND_UNIT.fullmatch(str(value))
    if match is None:
        raise InputError([Problem("", written_as(value), say("a number with its unit"), say("Not a number."))])
    return number(match[1]), match[2].strip() or default


def _limit_text(item: Field, limit: float, half: str | None) -> str:
    """What limits an input: as written, or what was taken for it."""
    if half is not None:
        return f" ± {half}"
    if not limit:
        return ""
    if item.kind == "flow":
        return say(" (taken ± {limit})", limit=f"{100 * item.relative:.0f} %")
    kind = _DIFFERENCE.get("pressure" if "pressure" in item.kind else item.kind, item.kind)
    unit = "K" if kind == "temperature_difference" else item.unit
    shown = say("{limit:.2g} {unit}", limit=from_si(limit, kind, unit), unit=unit)  # type: ignore[arg-type]
    return say(" (taken ± {limit})", limit=shown)
