"""The chain of entries: the facts of the refrigerant ledger."""

import sqlalchemy as sa
from alembic import op

from loopwright.errors import InputError, Problem

revision = "0001"
down_revision = None

_WHOLE = sa.BigInteger().with_variant(sa.Integer, "sqlite")
_TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")


def upgrade() -> None:
    """Make the chain's table."""
    op.create_table(
        "ledger_entry",
        sa.Column("seq", _WHOLE, primary_key=True, autoincrement=False),
        sa.Column("hash", _TEXT, nullable=False),
        sa.Column("key", _TEXT, nullable=False, unique=True),
        sa.Column("kind", _TEXT, nullable=False),
        sa.Column("reverses", _WHOLE, nullable=True, unique=True),
        sa.Column("text", _TEXT, nullable=False),
        sqlite_strict=True,
    )
    weighed = sa.text("kind = 'weighed'")
    op.create_index("ledger_entry_weighed", "ledger_entry", ["seq"], sqlite_where=weighed, postgresql_where=weighed)


def downgrade() -> None:
    """Drop the chain's table, but only while it is empty."""
    if op.get_bind().execute(sa.text("SELECT count(*) FROM ledger_entry")).scalar():
        says = "Going back further would destroy the ledger. Export it, then start an empty database."
        raise InputError([Problem("ledger_entry", "entries", "an empty table", says)])
    op.drop_table("ledger_entry")
