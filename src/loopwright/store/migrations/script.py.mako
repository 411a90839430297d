"""${message}."""

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}


def upgrade() -> None:
    """Add."""
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    """Take back."""
    ${downgrades if downgrades else "pass"}
