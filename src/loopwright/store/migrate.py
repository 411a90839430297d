"""Bringing a database's tables to the version of this program, in one transaction, with all that they hold."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy import Connection, Engine

__all__ = ["HEAD", "downgrade", "migrate", "version"]

HEAD = "0005"  # of migrations/versions; known here so that opening a ledger need not load the migration tool
_LOCK = 0x1ED6E5  # of migrations, among whatever else locks in the same PostgreSQL database


def version(connection: Connection) -> str | None:
    """The version of the tables, or None in an empty database."""
    if not sa.inspect(connection).has_table("alembic_version"):
        return None
    found: str | None = connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar_one_or_none()
    return found


def migrate(engine: Engine, to: str = HEAD) -> None:
    """Bring the tables up to version `to`; nothing happens when they are there already."""
    with engine.connect() as connection:
        if version(connection) == to:
            return
    _run(engine, "upgrade", to)


def downgrade(engine: Engine, to: str) -> None:
    """Take the tables back to version `to` ("base": none).

    Raises
    ------
    InputError : that would lose entries
    """
    _run(engine, "downgrade", to)


def _run(engine: Engine, direction: str, to: str) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "loopwright.store:migrations")
    with engine.connect() as opened:
        connection = opened.execution_options(writes=True)
        with connection.begin():
            if connection.dialect.name == "postgresql":
                connection.execute(sa.text(f"SELECT pg_advisory_xact_lock({_LOCK})"))
            config.attributes["connection"] = connection
            getattr(command, direction)(config, to)
