"""The database itself refuses to change or delete what was written."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

_TABLES = ("ledger_entry", "ledger_leg")
_SAYS = "The ledger is append-only; a mistake is mended by a reversing entry."
_FUNCTION = f"""
CREATE FUNCTION ledger_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '{_SAYS}'; END $$
"""


def upgrade() -> None:
    """Add the triggers."""
    postgresql = op.get_bind().dialect.name == "postgresql"
    if postgresql:
        op.execute(sa.text(_FUNCTION))
    for table in _TABLES:
        for act in _acts(postgresql):
            head = f"CREATE TRIGGER {table}_{act.lower()} BEFORE {act} ON {table}"
            if postgresql:
                op.execute(sa.text(f"{head} FOR EACH STATEMENT EXECUTE FUNCTION ledger_append_only()"))
            else:
                op.execute(sa.text(f"{head} BEGIN SELECT RAISE(ABORT, '{_SAYS}'); END"))


def downgrade() -> None:
    """Drop the triggers."""
    postgresql = op.get_bind().dialect.name == "postgresql"
    for table in _TABLES:
        for act in _acts(postgresql):
            op.execute(sa.text(f"DROP TRIGGER {table}_{act.lower()}" + (f" ON {table}" if postgresql else "")))
    if postgresql:
        op.execute(sa.text("DROP FUNCTION ledger_append_only()"))


def _acts(postgresql: bool) -> tuple[str, ...]:
    return ("UPDATE", "DELETE", "TRUNCATE") if postgresql else ("UPDATE", "DELETE")
