"""A whole shop in one file that no database owns: a zip of JSON Lines, one a table, with a manifest of their hashes.

What lets somebody in (sessions, tokens for programs, invitations) is left out; passwords are kept as their hashes. The
derived tables of the ledger are left out as well: restoring derives them, and verifies the chain as a whole.
"""

from __future__ import annotations

import base64
import hashlib
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

import sqlalchemy as sa
from sqlalchemy import Connection, Engine

from loopwright._version import __version__
from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.store.audit import audit_store
from loopwright.store.engine import reading, writing
from loopwright.store.migrate import HEAD, downgrade, migrate, version
from loopwright.store.people_tables import SHOP_INVITATION, SHOP_TOKEN
from loopwright.store.projection import derive, insert_entries
from loopwright.store.shop_tables import SHOP_PHOTO
from loopwright.store.tables import DERIVED, ENTRY, METADATA

__all__ = ["FORM", "back_up", "restore"]

FORM = "loopwright shop 1"
_MANIFEST = "manifest.json"
_OLDEST = "0004"  # version of the tables; there was no shop before
_CHUNK = 1000  # rows in memory at a time
_FEW = 8  # of rows that hold a photograph
_LEFT_OUT = (*DERIVED, SHOP_TOKEN, SHOP_INVITATION)
Row = dict[str, Any]


def back_up(engine: Engine, file: str | Path | BinaryIO, moment: str) -> dict[str, int]:
    """Write everything into one file, as it stands at one moment, whoever writes meanwhile.

    Parameters
    ----------
    engine : the shop's database
    file : where to write, replaced if it is there
    moment : this moment, written into the manifest

    Returns
    -------
    dict : rows by table

    Raises
    ------
    InputError : the database holds no shop
    OSError : the file cannot be written
    """
    with reading(engine) as connection:
        found = version(connection)
        if found is None or found < _OLDEST:
            raise InputError(
                [Problem("database", str(engine.url.database), say("a shop's database"), say("No shop is in it."))]
            )
        there = set(sa.inspect(connection).get_table_names())
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=5) as archive:
            kept = {table.name: _write(connection, archive, table) for table in _tables() if table.name in there}
            manifest = {"form": FORM, "engine": __version__, "version": found, "made": moment, "tables": kept}
            archive.writestr(_MANIFEST, json.dumps(manifest, indent=1))
    return {name: about["rows"] for name, about in kept.items()}


def restore(engine: Engine, file: str | Path | BinaryIO) -> dict[str, int]:
    """Fill an empty database with a backup: all of it, verified, or nothing.

    Returns
    -------
    dict : rows by table

    Raises
    ------
    InputError : no backup, a damaged one, one of a later version, or the database is not empty
    OSError : the file cannot be read
    """
    try:
        with zipfile.ZipFile(file) as archive:
            manifest = _manifest(archive)
            _level(engine, manifest["version"])
            with writing(engine, ENTRY) as connection:
                _refuse_unless_empty(connection)
                for name, about in manifest["tables"].items():
                    _read(connection, archive, name, about)
                _check_ledger(connection)
    except zipfile.BadZipFile as error:
        raise _refused("a damaged file", f"It cannot be read: {error}.") from error
    migrate(engine)
    return {name: about["rows"] for name, about in manifest["tables"].items()}


def _tables() -> list[sa.Table]:
    return [table for table in METADATA.sorted_tables if table not in _LEFT_OUT]


def _write(connection: Connection, archive: zipfile.ZipFile, table: sa.Table) -> Row:
    """Write a table in the order of its key; returns how many rows, and the hash of what was written."""
    rows, hashed = 0, hashlib.sha256()
    query = sa.select(table).order_by(*table.primary_key.columns)
    query = query.execution_options(yield_per=_FEW if table is SHOP_PHOTO else _CHUNK)
    with archive.open(f"{table.name}.jsonl", "w", force_zip64=True) as out:
        for row in connection.execute(query):
            line = json.dumps({k: _plain(v) for k, v in row._mapping.items()}, ensure_ascii=False).encode() + b"\n"
            hashed.update(line)
            out.write(line)
            rows += 1
    return {"rows": rows, "sha256": hashed.hexdigest()}


def _plain(value: Any) -> Any:
    return {"base64": base64.b64encode(value).decode()} if isinstance(value, bytes) else value


def _value(plain: Any) -> Any:
    return base64.b64decode(plain["base64"], validate=True) if isinstance(plain, dict) else plain


def _manifest(archive: zipfile.ZipFile) -> Any:
    try:
        found = json.loads(archive.read(_MANIFEST))
        form, tables_version = found["form"], found["version"]
        tables = {name: {"rows": int(t["rows"]), "sha256": str(t["sha256"])} for name, t in found["tables"].items()}
    except (KeyError, ValueError, TypeError, AttributeError) as error:
        raise _refused("no manifest", "This is no backup of a shop.") from error
    known = {table.name for table in _tables()}
    if form != FORM or not isinstance(tables_version, str) or not tables.keys() <= known:
        raise _refused(str(form), "This is no backup that this version can read.")
    if not _OLDEST <= tables_version <= HEAD:
        raise _refused(f"version {tables_version}", "It was made by a later version; restore it with that one.")
    return {"version": tables_version, "tables": tables}


def _level(engine: Engine, wanted: str) -> None:
    """Bring an empty database to the version of the backup's tables, so that its rows fit."""
    with engine.connect() as connection:
        found = version(connection)
    if found is not None and found > wanted:
        with reading(engine) as connection:
            _refuse_unless_empty(connection)
        downgrade(engine, wanted)
    else:
        migrate(engine, wanted)


def _refuse_unless_empty(connection: Connection) -> None:
    there = set(sa.inspect(connection).get_table_names())
    full = [
        table.name
        for table in METADATA.sorted_tables
        if table.name in there and connection.execute(sa.select(sa.literal(1)).select_from(table).limit(1)).first()
    ]
    if full:
        says = say("A backup is not mixed with what is there.")
        raise InputError([Problem("database", ", ".join(full), say("an empty database"), says)])


def _read(connection: Connection, archive: zipfile.ZipFile, name: str, about: Row) -> None:
    rows = _verified(archive, name, about)
    if name == ENTRY.name:
        insert_entries(connection, ((str(row["hash"]), str(row["text"])) for row in rows))
        return
    waiting: list[Row] = []
    for row in rows:
        waiting.append(row)
        if len(waiting) >= (_FEW if name == SHOP_PHOTO.name else _CHUNK):
            _insert(connection, name, waiting)
            waiting = []
    _insert(connection, name, waiting)


def _verified(archive: zipfile.ZipFile, name: str, about: Row) -> Iterator[Row]:
    """The rows of a table; after the last it is told whether they are those that were written."""
    hashed, rows = hashlib.sha256(), 0
    for line in _lines(archive, name):
        hashed.update(line)
        rows += 1
        yield _row(line, name)
    if rows != about["rows"] or hashed.hexdigest() != about["sha256"]:
        raise _refused(name, "This table is not as it was written.")


def _lines(archive: zipfile.ZipFile, name: str) -> Iterator[bytes]:
    try:
        with archive.open(f"{name}.jsonl") as lines:
            yield from lines
    except KeyError as error:
        raise _refused(name, "This table is missing.") from error


def _row(line: bytes, name: str) -> Row:
    try:
        return {key: _value(plain) for key, plain in json.loads(line).items()}
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise _refused(name, "A line of this table cannot be read.") from error


def _insert(connection: Connection, name: str, rows: list[Row]) -> None:
    if not rows:
        return
    # By the names in the file, not by today's table: a column that came later is not there yet.
    table = sa.table(name, *[sa.column(key) for key in rows[0]])
    try:
        connection.execute(table.insert(), rows)
    except sa.exc.SQLAlchemyError as error:
        raise _refused(name, f"A row does not fit: {error}.") from error


def _check_ledger(connection: Connection) -> None:
    derive(connection)
    report = audit_store(connection)
    if not report.sound:
        raise InputError(
            [Problem(where, say("as given"), say("a sound chain"), says) for where, says in report.findings]
        )


def _refused(found: str, says: str) -> InputError:
    return InputError([Problem("backup", found, say("a file made by `loopwright shop backup`, as it was made"), says)])
