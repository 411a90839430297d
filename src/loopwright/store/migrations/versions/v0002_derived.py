"""Accounts and balances, derived from the chain so that they answer at once."""

import sqlalchemy as sa
from alembic import op

from loopwright.store.projection import derive

revision = "0002"
down_revision = "0001"

_WHOLE = sa.BigInteger().with_variant(sa.Integer, "sqlite")
_TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")


def upgrade() -> None:
    """Make the derived tables and fill them from the chain."""
    op.create_table(
        "ledger_leg",
        sa.Column("seq", _WHOLE, primary_key=True, autoincrement=False),
        sa.Column("account", _TEXT, primary_key=True),
        sa.Column("refrigerant", _TEXT, nullable=False),
        sa.Column("mass_mg", _WHOLE, nullable=False),
        sa.Column("variance_mg2", _WHOLE, nullable=False),
        sa.Column("balance_mg", _WHOLE, nullable=False),
        sa.Column("balance_variance_mg2", _WHOLE, nullable=False),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_index("ledger_leg_account", "ledger_leg", ["account", "refrigerant", "seq"])
    op.create_table(
        "ledger_account",
        sa.Column("id", _TEXT, primary_key=True),
        sa.Column("seq", _WHOLE, nullable=False),
        sa.Column("kind", _TEXT, nullable=False),
        sa.Column("refrigerant", _TEXT, nullable=True),
        sqlite_strict=True,
    )
    # The derived tables may be remade at any time, so this uses today's code; a later version that changes their
    # columns changes this step with it.
    derive(op.get_bind())


def downgrade() -> None:
    """Drop the derived tables; the chain keeps all that they held."""
    op.drop_table("ledger_account")
    op.drop_table("ledger_leg")
