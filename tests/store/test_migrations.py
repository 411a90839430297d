"""Migrations up and down, with data, on both databases."""

from __future__ import annotations

import pytest
import sqlalchemy as sa
from alembic.config import Config
from alembic.script import ScriptDirectory
from databases import Maker
from shop import AT, OPENING, draft, lines

from loopwright.errors import InputError
from loopwright.store import (
    Journal,
    connect,
    people_tables,  # noqa: F401 - their tables join METADATA
    shop_tables,  # noqa: F401
)
from loopwright.store.migrate import HEAD, downgrade, migrate, version
from loopwright.store.tables import METADATA


def _shape(engine: sa.Engine) -> dict[str, object]:
    inspector = sa.inspect(engine)
    names = [name for name in inspector.get_table_names() if name != "alembic_version"]
    return {
        name: (
            [(c["name"], str(c["type"]), c["nullable"]) for c in inspector.get_columns(name)],
            inspector.get_pk_constraint(name)["constrained_columns"],
            sorted((i["name"] or "", tuple(i["column_names"])) for i in inspector.get_indexes(name)),
        )
        for name in sorted(names)
    }


def test_the_migrations_make_the_tables_that_the_program_uses(make: Maker) -> None:
    migrated, declared = connect(make.empty()), connect(make.empty())
    migrate(migrated)
    METADATA.create_all(declared)
    assert _shape(migrated) == _shape(declared)
    for engine in (migrated, declared):
        engine.dispose()


@pytest.mark.parametrize("to", ["0001", "0002"])
def test_down_and_up_again_with_data(url: str, to: str) -> None:
    journal = Journal(url, clock=lambda: AT)
    journal.post(draft(line) for line in [*lines(OPENING), "V > M 470 15", "weigh A 9400 20 against U", "reverse 9"])
    before = (journal.head(), journal.balances(), journal.accounts(), list(journal.chain()))
    downgrade(journal.engine, to)
    with journal.engine.connect() as connection:
        assert version(connection) == to
    migrate(journal.engine)
    assert (journal.head(), journal.balances(), journal.accounts(), list(journal.chain())) == before
    assert journal.verify().sound
    assert journal.post([draft("A > V 5 1")])[0].entry.seq == 12
    journal.close()


def test_the_last_step_down_would_lose_the_ledger_and_is_refused_while_it_holds_anything(url: str) -> None:
    journal = Journal(url, clock=lambda: AT)
    journal.post([draft("open supplier S")])
    head = journal.head()
    with pytest.raises(InputError, match="would destroy the ledger"):
        downgrade(journal.engine, "base")
    # All steps are one transaction, so the tables stand as before, triggers included.
    assert (journal.head(), journal.verify().sound) == (head, True)
    with pytest.raises(Exception, match="append-only"), journal.engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM ledger_entry")
    journal.close()


def test_an_empty_ledger_goes_all_the_way_down_and_up(url: str) -> None:
    engine = connect(url)
    downgrade(engine, "base")
    assert _shape(engine) == {}
    migrate(engine)
    assert Journal(engine).head().seq == 0
    engine.dispose()


def test_the_version_known_to_the_program_is_the_newest() -> None:
    config = Config()
    config.set_main_option("script_location", "loopwright.store:migrations")
    assert ScriptDirectory.from_config(config).get_current_head() == HEAD
