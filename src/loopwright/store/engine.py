"""Opening a database: SQLite in a file by default, PostgreSQL by URL, with the same manners on both.

Readers see one snapshot. A writer is alone from its first statement on: SQLite takes its write lock at once (BEGIN
IMMEDIATE), PostgreSQL locks the chain's table against other writers.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection, Engine, event
from sqlalchemy.engine import URL

from loopwright.errors import InputError, Problem
from loopwright.language import say

__all__ = ["connect", "reading", "writing"]

_BUSY_S = 30.0  # a posting takes milliseconds; whoever waits longer is told
_DIALECTS = ("sqlite", "postgresql")


def connect(where: str | Path) -> Engine:
    """Open a database.

    Parameters
    ----------
    where : a file (made if it does not exist), or a URL: "postgresql://user@host/name", "sqlite:///file"

    Raises
    ------
    InputError : neither a file nor a URL of SQLite or PostgreSQL
    """
    url = _url(where)
    if url.get_dialect().name == "sqlite":
        engine = sa.create_engine(url, connect_args={"timeout": _BUSY_S, "isolation_level": None})
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    return sa.create_engine(url, isolation_level="REPEATABLE READ")


def _url(where: str | Path) -> URL:
    if isinstance(where, Path) or "://" not in where:
        return URL.create("sqlite", database=str(where))
    try:
        url = sa.make_url(where)
    except sa.exc.ArgumentError:
        url = None
    if url is None or url.get_backend_name() not in _DIALECTS:
        allowed = say("a file, or a URL that begins with postgresql:// or sqlite:///")
        raise InputError(
            [Problem("database", where.partition("@")[2] or where, allowed, say("No such kind of database."))]
        )
    return url.set(drivername="postgresql+psycopg") if url.get_backend_name() == "postgresql" else url


def _prepare_sqlite(connection: Any, _record: object) -> None:
    # WAL lets readers go on while one writes; FULL waits for the disk, so what was acknowledged survives a power cut.
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
        connection.execute(f"PRAGMA {pragma}").close()


def _begin_sqlite(connection: Connection) -> None:
    # The driver would begin late and without the write lock; two writers would then both read before either writes.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """Read in one transaction, so that all that is read belongs together."""
    with engine.connect() as connection:
        transaction = connection.begin()
        try:
            yield connection
        finally:
            transaction.rollback()  # nothing was written, and a damaged file could not commit


@contextmanager
def writing(engine: Engine, lock: sa.Table) -> Iterator[Connection]:
    """Write in one transaction, alone; it is committed at the end of the block, or leaves no trace."""
    with engine.connect() as opened:
        # What a waiting writer must see is what the one before it committed, not what stood when it began to wait.
        isolation = {} if opened.dialect.name == "sqlite" else {"isolation_level": "READ COMMITTED"}
        connection = opened.execution_options(writes=True, **isolation)
        with connection.begin():
            if connection.dialect.name == "postgresql":
                connection.execute(sa.text(f"LOCK TABLE {lock.name} IN EXCLUSIVE MODE"))
            yield connection
