"""Everything a shop holds, as files that any program reads: what was written, what was understood, what was judged."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from loopwright._version import __version__
from loopwright.api.export_forms import FORMS, Column, Form, Row, write_table
from loopwright.api.export_tables import TABLES
from loopwright.errors import InputError, Problem
from loopwright.job import test_fields, vehicle_fields
from loopwright.language import say
from loopwright.quantities import parse, units_of

if TYPE_CHECKING:
    from loopwright.api.shop import Shop, StoredJob
    from loopwright.job import Field, Written
    from loopwright.readings import Reading

__all__ = ["FORMS", "export", "export_table"]

_ENDINGS = {"image/jpeg": "jpg", "image/png": "png"}


def export(shop: Shop, folder: Path, form: Form = "csv") -> dict[str, int]:
    """Write everything into a folder, with a README that says what each column is; secrets are left out.

    Returns
    -------
    dict : rows by table

    Raises
    ------
    InputError : no such form, or the folder is not empty
    OSError : a file cannot be written
    """
    if form not in FORMS:
        raise InputError([Problem("form", str(form), ", ".join(FORMS), say("There is no such form."))])
    folder.mkdir(parents=True, exist_ok=True)
    if any(folder.iterdir()):
        says = say("An export is not mixed with other files.")
        raise InputError([Problem("folder", str(folder), say("a new or an empty folder"), says)])
    counts = {name: write_table(folder / name, form, TABLES[name].columns, rows(shop)) for name, rows in _ROWS.items()}
    _write_photos(shop, folder / "photos")
    _write_chain(shop, folder / "ledger.jsonl")
    (folder / "README.md").write_text(_readme(form, counts, shop.clock()), encoding="utf-8")
    return counts


def export_table(shop: Shop, name: str) -> Iterator[Row]:
    """Return one table's rows.

    Raises
    ------
    InputError : there is no such table
    """
    if name not in _ROWS:
        raise InputError([Problem("table", name, ", ".join(_ROWS), say("There is no such table."))])
    return iter(_ROWS[name](shop))


def _jobs(shop: Shop) -> Iterator[Row]:
    from loopwright.store import walk

    for row in walk.jobs(shop.engine):
        yield {column.name: getattr(row, column.name) for column in TABLES["jobs"].columns}


def _entries(shop: Shop) -> Iterator[Row]:
    from loopwright.store import walk

    for row in walk.entries(shop.engine):
        yield dict(row._mapping)


class _Read(NamedTuple):
    """What could be read of a test: readings by field, and what is wrong by field."""

    readings: Mapping[str, Reading]
    problems: Mapping[str, Problem]


def _values(shop: Shop) -> Iterator[Row]:
    for job in shop.records.ids():
        stored = shop.job(job)
        tests = {test: _read(stored, test) for test, state in stored.state.tests.items() if state.written}
        about = next(iter(tests.values()), _Read({}, {}))  # what is wrong about the vehicle is wrong in every test
        for key, written in stored.state.vehicle.items():
            yield _value(stored, "vehicle", key, written, about)
        for test, read in tests.items():
            for key, written in stored.state.tests[test].written.items():
                yield _value(stored, test, key, written, read)


def _read(stored: StoredJob, test: str) -> _Read:
    from loopwright.api.shop import readable

    sheet, problems, found = readable(stored.state, test)
    return _Read({sheet.fields[one.field]: one for one in found.readings} if found else {}, problems)


def _value(stored: StoredJob, room: str, key: str, written: Written, read: _Read) -> Row:
    field = (vehicle_fields() if room == "vehicle" else test_fields())[key]
    name = f"{room}.{key}"
    problem = read.problems.get(name)
    return {
        "job": stored.id,
        "number": stored.number,
        "test": room,
        "field": key,
        "name": field.name,
        "phase": field.phase,
        "point": field.point,
        "quantity": field.quantity,
        "statistic": field.statistic if field.quantity else "",
        "written": written.value,
        "source": written.source,
        "by": written.by,
        "at": written.at,
        "problem": "" if problem is None else problem.says,
        **_understood(field, written.value, read.readings.get(name)),
    }


def _understood(field: Field, written: str, reading: Reading | None) -> Row:
    """The value in SI; a pressure absolute, with the air of the test."""
    nothing: Row = {"value": None, "unit": "", "sigma": None}
    if reading is not None:
        return {"value": reading.value, "unit": _si(field.kind), "sigma": reading.sigma}
    if field.kind in ("choice", "text") or field.is_reading or field.is_observation:
        return nothing
    try:
        value = parse(written, field.kind, default=field.unit).value  # type: ignore[arg-type]
    except InputError:
        return nothing
    return {"value": value, "unit": _si(field.kind), "sigma": None}


@cache
def _si(kind: str) -> str:
    """The unit of a kind's values inside: the one that changes nothing.

    >>> _si("temperature"), _si("pressure"), _si("rotation")
    ('K', 'Pa', '1/s')
    """
    same = [u.symbol for u in units_of(kind) if u.factor == 1.0 and u.offset == 0.0]  # type: ignore[arg-type]
    return "K" if "K" in same else same[0]


def _judgements(shop: Shop) -> Iterator[Row]:
    from loopwright.store import walk

    for row in walk.judgements(shop.engine):
        kept = {name: getattr(row, name) for name in ("job", "number", "test", "language", "engine", "verdict", "made")}
        yield {**kept, "sheet": row.sheet, "judgement": _published(row.body)}


def _published(body: str) -> str:
    """A kept judgement in its published form; empty where another version wrote what this one cannot read."""
    from loopwright.api.judging import decode
    from loopwright.api.wire import to_wire

    try:
        return json.dumps(to_wire(decode(body)), ensure_ascii=False)
    except ValueError:
        return ""


def _vehicles(shop: Shop) -> Iterator[Row]:
    from loopwright.store import walk

    for row in walk.vehicles(shop.engine):
        card = json.loads(row.card)
        yield {column.name: card.get(column.name, "") for column in TABLES["vehicles"].columns} | {
            "id": row.id,
            "changed": row.changed,
        }


def _people(shop: Shop) -> Iterator[Row]:
    from dataclasses import asdict

    from loopwright.store.people import PeopleStore

    for person in PeopleStore(shop.engine).people():
        yield {
            "id": person.id,
            "name": person.name,
            "role": person.role,
            "active": int(person.active),
            "preferences": json.dumps(asdict(person.preferences), ensure_ascii=False),
        }


def _audit(shop: Shop) -> Iterator[Row]:
    from loopwright.store import walk

    for row in walk.audit(shop.engine):
        yield dict(row._mapping)


def _photos(shop: Shop) -> Iterator[Row]:
    from loopwright.store import walk

    for row in walk.photos(shop.engine):
        yield {"hash": row.hash, "kind": row.kind, "made": row.made, "size": len(row.bytes), "file": _photo_file(row)}


def _movements(shop: Shop) -> Iterator[Row]:
    from loopwright.ledger.chain import read_entry
    from loopwright.ledger.records import movements
    from loopwright.store import Journal

    yield from movements(read_entry(text) for _, text in Journal(shop.engine).chain())


_ROWS: dict[str, Callable[[Shop], Iterable[Row]]] = {
    "jobs": _jobs,
    "entries": _entries,
    "values": _values,
    "judgements": _judgements,
    "vehicles": _vehicles,
    "people": _people,
    "people_changes": _audit,
    "photos": _photos,
    "ledger_movements": _movements,
}


def _photo_file(row: Any) -> str:
    return f"photos/{row.hash}.{_ENDINGS.get(row.kind, 'bin')}"


def _write_photos(shop: Shop, folder: Path) -> None:
    from loopwright.store import walk

    folder.mkdir()
    for row in walk.photos(shop.engine):
        (folder.parent / _photo_file(row)).write_bytes(row.bytes)


def _write_chain(shop: Shop, path: Path) -> None:
    from loopwright.store import Journal

    with path.open("w", encoding="utf-8", newline="\n") as out:
        for hash_, text in Journal(shop.engine).chain():
            out.write(json.dumps({"hash": hash_, "text": text}, ensure_ascii=False) + "\n")


def _readme(form: Form, counts: dict[str, int], made: str) -> str:
    head = _ABOUT.format(version=__version__, made=made, form=_FORM_SAYS[form])
    return "\n".join([head, *(_table_says(name, form, counts[name]) for name in TABLES)])


def _table_says(name: str, form: Form, rows: int) -> str:
    columns = [f"| `{c.name}` | {_kind(c)} | {c.says} |" for c in TABLES[name].columns]
    head = [f"## {name}.{form}", "", f"{TABLES[name].says} Rows: {rows}.", ""]
    return "\n".join([*head, "| column | kind | says |", "|---|---|---|", *columns, ""])


def _kind(column: Column) -> str:
    return {"text": "text", "whole": "whole number", "number": "number"}[column.kind]


_ABOUT = """# Export of a Loopwright shop

Made {made} by version {version}. Moments are RFC 3339 in UTC. Passwords, sessions, tokens and invitations are left out.
{form}

- `photos/`: the photographs, each named by the SHA-256 hash of its bytes.
- `ledger.jsonl`: the refrigerant ledger's chain, unchanged: one object an entry, `text` and the `hash` that binds it to
  all before it; `loopwright ledger verify --export ledger.jsonl` checks it.
"""
_FORM_SAYS = {
    "csv": "CSV as in RFC 4180, UTF-8. Text that begins with = + - @ ' tab or a line break has an apostrophe in\n"
    "front, so that no spreadsheet runs it; take the first apostrophe of such a cell away to have what was written.",
    "json": "Each table is one array of objects, one a line. Empty is null or empty text.",
    "parquet": "Parquet, compressed by Zstandard; each column's description is in its field's metadata (`says`).",
}
