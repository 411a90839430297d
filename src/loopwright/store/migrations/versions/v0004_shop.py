"""The shop: entries of jobs, append-only; an index of jobs and vehicles; judgements; photographs."""

from typing import Any

import sqlalchemy as sa
from alembic import op

from loopwright.errors import InputError, Problem

revision = "0004"
down_revision = "0003"

_WHOLE = sa.BigInteger().with_variant(sa.Integer, "sqlite")
_TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")

_SAYS = "Entries are append-only; a mistake is mended by an entry that undoes it."
_FUNCTION = f"""
CREATE FUNCTION shop_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '{_SAYS}'; END $$
"""


def upgrade() -> None:
    """Make the tables."""
    entry = [_column(name) for name in ("job", "at", "recorded", "by", "kind", "data")]
    _table("shop_entry", _column("seq", _WHOLE, key=True), sa.Column("id", _TEXT, nullable=False, unique=True), *entry)
    op.create_index("shop_entry_job", "shop_entry", ["job", "seq"])
    number = sa.Column("number", _WHOLE, nullable=False, unique=True)
    named = [_column(name) for name in ("vehicle", "title", "search")]
    dated = [_column(name) for name in ("opened", "changed", "verdict_before", "verdict_after")]
    _table("shop_job", _column("id", key=True), number, *named, _column("closed", _WHOLE), *dated)
    op.create_index("shop_job_changed", "shop_job", ["changed"])
    op.create_index("shop_job_vehicle", "shop_job", ["vehicle"])
    vehicle = [_column(name) for name in ("title", "search", "card", "changed")]
    _table("shop_vehicle", _column("id", key=True), *vehicle)
    op.create_index("shop_vehicle_changed", "shop_vehicle", ["changed"])
    keys = [_column(name, key=True) for name in ("job", "test", "language", "engine")]
    _table("shop_judgement", *keys, *[_column(name) for name in ("sheet", "verdict", "made", "body")])
    photo = [_column("kind"), _column("made"), _column("bytes", sa.LargeBinary())]
    _table("shop_photo", _column("hash", key=True), *photo)
    _append_only()


def _column(name: str, kind: Any = _TEXT, key: bool = False) -> sa.Column[Any]:
    return sa.Column(name, kind, primary_key=key, nullable=False, autoincrement=False)


def _table(name: str, *columns: sa.Column[Any]) -> None:
    op.create_table(name, *columns, sqlite_strict=True)


def _append_only() -> None:
    postgresql = op.get_bind().dialect.name == "postgresql"
    if postgresql:
        op.execute(sa.text(_FUNCTION))
    for act in ("UPDATE", "DELETE"):
        head = f"CREATE TRIGGER shop_entry_{act.lower()} BEFORE {act} ON shop_entry"
        if postgresql:
            op.execute(sa.text(f"{head} FOR EACH STATEMENT EXECUTE FUNCTION shop_append_only()"))
        else:
            op.execute(sa.text(f"{head} BEGIN SELECT RAISE(ABORT, '{_SAYS}'); END"))


def downgrade() -> None:
    """Drop the tables, if no job is in them."""
    if op.get_bind().execute(sa.text("SELECT 1 FROM shop_entry LIMIT 1")).first():
        says = "Going back would lose what was entered; export it first."
        raise InputError([Problem("database", "jobs", "a shop without jobs", says)])
    for table in ("shop_entry", "shop_job", "shop_vehicle", "shop_judgement", "shop_photo"):
        op.drop_table(table)
    if op.get_bind().dialect.name == "postgresql":
        op.execute(sa.text("DROP FUNCTION shop_append_only()"))
