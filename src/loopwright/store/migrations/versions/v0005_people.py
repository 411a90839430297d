"""People: who they are, their sessions and tokens, invitations, and the append-only record of who changed what."""

from typing import Any

import sqlalchemy as sa
from alembic import op

from loopwright.errors import InputError, Problem

revision = "0005"
down_revision = "0004"

_WHOLE = sa.BigInteger().with_variant(sa.Integer, "sqlite")
_TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
_SAYS = "What was recorded about people and settings is append-only."
_FUNCTION = f"""
CREATE FUNCTION shop_audit_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '{_SAYS}'; END $$
"""


def upgrade() -> None:
    """Make the tables."""
    login = sa.Column("login", _TEXT, nullable=False, unique=True)
    named = [_column(name) for name in ("name", "role")]
    kept = [_column(name) for name in ("password", "preferences", "made")]
    _table("shop_person", _column("id", key=True), login, *named, _column("active", _WHOLE), *kept)
    token = [_column(name) for name in ("kind", "person", "label")]
    _table("shop_token", _column("hash", key=True), *token, _column("made", _WHOLE), _column("seen", _WHOLE))
    op.create_index("shop_token_person", "shop_token", ["person"])
    invited = [_column(name) for name in ("kind", "role", "by")]
    counted = [_column(name, _WHOLE) for name in ("made", "expires", "uses")]
    _table("shop_invitation", _column("hash", key=True), *invited, *counted)
    audit = [_column(name) for name in ("at", "by", "what", "subject", "data")]
    _table("shop_audit", _column("seq", _WHOLE, key=True), *audit)
    _append_only()


def _column(name: str, kind: Any = _TEXT, key: bool = False) -> sa.Column[Any]:
    return sa.Column(name, kind, primary_key=key, nullable=False, autoincrement=False)


def _table(name: str, *columns: sa.Column[Any]) -> None:
    op.create_table(name, *columns, sqlite_strict=True)


def _append_only() -> None:
    postgresql = op.get_bind().dialect.name == "postgresql"
    if postgresql:
        op.execute(sa.text(_FUNCTION))
    for act in ("UPDATE", "DELETE", "TRUNCATE") if postgresql else ("UPDATE", "DELETE"):
        head = f"CREATE TRIGGER shop_audit_{act.lower()} BEFORE {act} ON shop_audit"
        if postgresql:
            op.execute(sa.text(f"{head} FOR EACH STATEMENT EXECUTE FUNCTION shop_audit_append_only()"))
        else:
            op.execute(sa.text(f"{head} BEGIN SELECT RAISE(ABORT, '{_SAYS}'); END"))


def downgrade() -> None:
    """Drop the tables, if nobody is in them."""
    for table in ("shop_person", "shop_audit"):
        if op.get_bind().execute(sa.text(f"SELECT 1 FROM {table} LIMIT 1")).first():
            says = "Going back would lose the people of the shop and the record of their changes; export it first."
            raise InputError([Problem("database", "people", "a shop without people", says)])
    for table in ("shop_person", "shop_token", "shop_invitation", "shop_audit"):
        op.drop_table(table)
    if op.get_bind().dialect.name == "postgresql":
        op.execute(sa.text("DROP FUNCTION shop_audit_append_only()"))
