"""The published JSON Schemas, built from the table of points; `python -m loopwright.api.schemas` writes them afresh.

What a schema can say, it says: keys, words, units, which quantity is read where, ranges of bare numbers. What needs the
whole sheet (a unit that contradicts, gauge against altitude, what no vehicle can show) stays with `readings.read`.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from loopwright.quantities import Kind, from_si, units_of
from loopwright.readings.gather import LONGEST_TEXT
from loopwright.readings.points import PHASES, Field, table
from loopwright.readings.read import CHOICES, KEYS

__all__ = ["build_in", "build_out", "main", "text_of"]

Json = dict[str, Any]

_DIALECT = "https://json-schema.org/draft/2020-12/schema"
# A comma before three digits may be decimal or thousands; such a number is refused rather than guessed.
_NUMBER = r"[+-]?(?![1-9][0-9]{0,2},[0-9]{3}(?![0-9]))[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]{1,2})?"
_REFERENCE = r"(?: ?\(?(?:g|gauge|a|abs|absolute|vac|vacuum)\)?)?"
_NULL: Json = {"type": "null"}


def build_in() -> Json:
    """Return the JSON Schema (2020-12) of a test sheet."""
    return {
        "$schema": _DIALECT,
        "$id": "urn:loopwright:schema:sheet:1",
        "title": "Loopwright test sheet",
        **_table(KEYS[""], ("vehicle", "weather")),
        "properties": {
            "schema": _or_null({"const": 1}),
            "id": _or_null(_text()),
            "vehicle": _vehicle(),
            "weather": _weather(),
            "test": _or_null(_conditions()),
            "readings": _or_null({"type": "array", "items": _reading()}),
            "observations": _or_null({"type": "array", "items": _observation()}),
        },
    }


def _table(keys: tuple[str, ...], needed: tuple[str, ...] = ()) -> Json:
    return {
        "type": "object",
        "required": list(needed),
        "properties": dict.fromkeys(keys),
        "additionalProperties": False,
    }


def _or_null(schema: Json) -> Json:
    return {"anyOf": [schema, _NULL]}


def _text() -> Json:
    return {"type": "string", "maxLength": LONGEST_TEXT}


def _word(key: str) -> Json:
    return _or_null({"enum": list(CHOICES[key])})


def _written(pattern: str) -> Json:
    return {"type": "string", "maxLength": 60, "pattern": f"^ *{pattern} *$"}


def _any_case(text: str) -> str:
    """Spell out both cases, because a pattern in a schema knows no flags; "-" needs no escape and may not have one."""
    letters = (f"[{c.upper()}{c.lower()}]" if c.isascii() and c.isalpha() else re.escape(c) for c in text)
    return "".join(letters).replace("\\-", "-")


def _unit(kind: Kind) -> str:
    reference = _REFERENCE if kind.startswith("pressure") else ""
    return f"{_one_of(_spellings(kind))}{reference}"


def _inside(kind: Kind) -> str:
    """Return the pattern of a unit behind a number in one text, with the blank between them.

    A unit that opens with a digit needs the blank, for "81/s" is not eight of "1/s", and "1" itself cannot stand there.
    """
    digits = [name for name in _spellings(kind) if name[0].isdigit() and name != "1"]
    reference = _REFERENCE if kind.startswith("pressure") else ""
    close = f" ?{_one_of(name for name in _spellings(kind) if not name[0].isdigit())}{reference}"
    return f"(?:{close}| {_one_of(digits)})" if digits else close


def _spellings(kind: Kind) -> list[str]:
    names = {name for u in units_of(kind) for name in (u.symbol, *u.spellings)}
    return sorted(names, key=lambda name: (-len(name), name))


def _one_of(names: Iterable[str]) -> str:
    return f"(?:{'|'.join(dict.fromkeys(map(_any_case, names)))})"


def _vehicle() -> Json:
    names = [r.pattern().removeprefix("^").removesuffix("$") for r in table().refrigerants.values()]
    return {
        **_table(KEYS["vehicle"], ("refrigerant",)),
        "properties": {
            "refrigerant": {
                "type": "string",
                "pattern": f"^(?:{'|'.join(names)})$",
                "examples": list(table().refrigerants),
            },
            **{key: _word(key) for key in ("expansion", "storage", "compressor", "high_port")},
            **{key: _or_null(_field(f)) for key, f in table().fields["vehicle"].items()},
            "label": _or_null(_text()),
        },
    }


def _weather() -> Json:
    fields = {key: _or_null(_field(f)) for key, f in table().fields["weather"].items()}
    fields["air_temperature_c"] = _field(table().fields["weather"]["air_temperature_c"])
    # Between nothing and one per cent no air outdoors is; a fraction was meant.
    fields["relative_humidity_pct"]["not"] = {"exclusiveMinimum": 0, "exclusiveMaximum": 1, "type": "number"}
    return {**_table(KEYS["weather"], ("air_temperature_c",)), "properties": fields}


def _conditions() -> Json:
    fields = {key: _or_null(_field(f)) for key, f in table().fields["test"].items()}
    return {**_table(KEYS["test"]), "properties": {**fields, "blower": _word("blower"), "air": _word("air")}}


def _field(field: Field) -> Json:
    """Return a number with the limits of its key's unit, or text that may carry a unit of its own."""
    low, high = (round(from_si(limit, field.kind, field.unit), 6) for limit in (field.low, field.high))
    forms = [
        {"type": "number", "minimum": low, "maximum": high},
        _written(f"{_NUMBER}(?:{_inside(field.kind)})?"),
    ]
    if field.kind == "mass":
        forms.append(_written(f"[0-9]+ ?[Ll][Bb][Ss]?,? ?{_NUMBER} ?[Oo][Zz]"))
    return {"description": field.name, "anyOf": forms}


def _reading() -> Json:
    keys = ("phase", "point", "quantity", "value")
    return {
        **_table(KEYS["reading"], keys),
        "properties": {
            "phase": {"enum": list(PHASES)},
            "point": {"enum": list(table().read_at())},
            "quantity": {"enum": list(table().quantities)},
            "value": {"type": ["number", "string", "null"]},
            "unit": _or_null(_text()),
            "reference": _word("reference"),
            "statistic": _word("statistic"),
            "instrument": _or_null(_text()),
            "accuracy": _or_null(_accuracy()),
            "time_s": _or_null(_field(table().fields["reading"]["time_s"])),
        },
        "allOf": [_of_quantity(name) for name in table().quantities],
    }


def _accuracy() -> Json:
    return {
        **_table(KEYS["accuracy"], ("kind", "value")),
        "properties": {
            "kind": {"enum": list(CHOICES["accuracy"])},
            "value": {"anyOf": [{"type": "number", "exclusiveMinimum": 0}, {"type": "string"}]},
            "span": {"type": ["number", "string", "null"]},
            "unit": _or_null(_text()),
        },
        "if": {"properties": {"kind": {"const": "of_span_pct"}}},
        "then": {"properties": {"span": {"type": ["number", "string"]}}, "required": ["span"]},
    }


def _of_quantity(name: str) -> Json:
    """Return what one quantity asks: its points, and a unit inside the text or beside the number."""
    quantity = table().quantities[name]
    unit = _unit(quantity.kind)
    inside = {"value": _written(f"{_NUMBER}{_inside(quantity.kind)}"), "unit": _or_null(_written(unit))}
    beside = {"value": {"anyOf": [{"type": "number"}, _written(_NUMBER)]}, "unit": _written(unit)}
    points = [point for point in table().read_at() if name in table().carries(point)]
    return {
        "if": {"properties": {"quantity": {"const": name}}},
        "then": {
            "properties": {"point": {"enum": points}, "accuracy": _or_null(_accuracy_units(quantity.accuracy_kind))},
            "anyOf": [
                {"properties": {"value": _NULL}},
                {"properties": inside},
                {"properties": beside, "required": ["unit"]},
            ],
        },
    }


def _accuracy_units(kind: Kind) -> Json:
    written = _written(f"{_NUMBER}(?:{_inside(kind)})?")
    percent = _written(f"{_NUMBER}(?:{_inside('fraction_difference')})?")
    number: Json = {"type": "number"}
    return {
        "properties": {"span": {"anyOf": [number, written, _NULL]}, "unit": _or_null(_written(_unit(kind)))},
        "if": {"properties": {"kind": {"const": "of_span_pct"}}},
        "then": {"properties": {"value": {"anyOf": [number, percent]}}},
        "else": {"properties": {"value": {"anyOf": [number, written]}}},
    }


def _observation() -> Json:
    keys = KEYS["observation"]
    groups: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for point in table().seen_at():
        for kind, values in table().observed(point).items():
            groups.setdefault((kind, values), []).append(point)
    return {
        **_table(keys, keys),
        "properties": {
            "phase": {"enum": list(PHASES)},
            "point": {"type": "string"},
            "kind": {"type": "string"},
            "value": {},
        },
        "anyOf": [
            {"properties": {"point": {"enum": points}, "kind": {"const": kind}, "value": {"enum": list(values)}}}
            for (kind, values), points in groups.items()
        ],
    }


def _object(**properties: Json) -> Json:
    """Return a table in which every key is there; further keys may come, because additions are free."""
    return {"type": "object", "required": list(properties), "properties": properties}


def _list(items: Json) -> Json:
    return {"type": "array", "items": items}


def build_out() -> Json:
    """Return the JSON Schema (2020-12) of a judgement."""
    text: Json = {"type": "string"}
    number: Json = {"type": "number"}
    maybe_text: Json = {"type": ["string", "null"]}
    level: Json = {"type": "number", "exclusiveMinimum": 0, "exclusiveMaximum": 1}
    share: Json = {"type": "number", "minimum": 0, "maximum": 1}
    count = {"type": "number", "minimum": 0}
    interval: dict[str, Json] = {"low": number, "median": number, "high": number, "level": level}
    speaks = _list(_object(point=text, phase=text, nats=number, says=text))
    severity: Json = {"anyOf": [_object(quantity=text, unit=text, **interval), _NULL]}
    cause = _object(
        fault=text, also=maybe_text, probability=share, severity=severity, **{"for": speaks, "against": speaks}
    )
    reference = {"enum": ["gauge", "absolute", None]}
    expected = _object(
        phase={"enum": list(PHASES)},
        point=text,
        quantity={"enum": list(table().quantities)},
        unit=text,
        reference=reference,
        **interval,
        measured={"type": ["number", "null"]},
    )
    check = _object(
        check=text, point=text, minutes=count, information_bits=count, splits=_list(text), how=text, caution=text
    )
    evidence = {"type": "object", "additionalProperties": {"type": ["number", "null"]}}
    whole = _object(
        schema={"const": 1},
        id=text,
        engine=text,
        seed={"type": "integer"},
        seconds=count,
        verdict={"enum": ["performs", "marginal", "does_not_perform", "cannot_say"]},
        reasons=_list(text),
        settled=_object(**{"is": {"type": "boolean"}, "why": text}),
        causes=_list(cause),
        states={"type": "object", "additionalProperties": _object(**interval)},
        expected=_list(expected),
        next_checks=_list(check),
        fit=_object(effective_samples=count, log_evidence=evidence, misfit_probability=share),
        cautions=_list(text),
    )
    return {"$schema": _DIALECT, "$id": "urn:loopwright:schema:judgement:1", "title": "Loopwright judgement", **whole}


def text_of(schema: Json) -> str:
    """Return a schema as the text of its file."""
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


def main() -> None:
    """Write both schemas beside this module."""
    folder = Path(__file__).parent / "schema"
    for name, schema in (("sheet", build_in()), ("judgement", build_out())):
        (folder / f"{name}.json").write_text(text_of(schema), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
