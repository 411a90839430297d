"""The tables. `entry` holds the facts, the chain; `leg` and `account` are derived from it and verified against it."""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, Index, Integer, MetaData, Table, Text

__all__ = ["ACCOUNT", "DERIVED", "ENTRY", "LEG", "METADATA"]

METADATA = MetaData()
# Text compares by its bytes on both, so that order and equality are the same whatever the server's language is.
_TEXT = Text().with_variant(Text(collation="C"), "postgresql")
_WHOLE = BigInteger().with_variant(Integer, "sqlite")  # SQLite's INTEGER has 64 bits

ENTRY = Table(
    "ledger_entry",
    METADATA,
    Column("seq", _WHOLE, primary_key=True, autoincrement=False),
    Column("hash", _TEXT, nullable=False),
    Column("key", _TEXT, nullable=False, unique=True),
    Column("kind", _TEXT, nullable=False),
    Column("reverses", _WHOLE, nullable=True, unique=True),
    Column("text", _TEXT, nullable=False),
    sqlite_strict=True,
)
# Only these few kinds are looked for by kind, so movements need not be in the index.
Index(
    "ledger_entry_weighed",
    ENTRY.c.seq,
    sqlite_where=ENTRY.c.kind == "weighed",
    postgresql_where=ENTRY.c.kind == "weighed",
)

LEG = Table(
    "ledger_leg",
    METADATA,
    Column("seq", _WHOLE, primary_key=True, autoincrement=False),
    Column("account", _TEXT, primary_key=True),
    Column("refrigerant", _TEXT, nullable=False),
    Column("mass_mg", _WHOLE, nullable=False),
    Column("variance_mg2", _WHOLE, nullable=False),
    Column("balance_mg", _WHOLE, nullable=False),  # after this leg
    Column("balance_variance_mg2", _WHOLE, nullable=False),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)
Index("ledger_leg_account", LEG.c.account, LEG.c.refrigerant, LEG.c.seq)

ACCOUNT = Table(
    "ledger_account",
    METADATA,
    Column("id", _TEXT, primary_key=True),
    Column("seq", _WHOLE, nullable=False),  # the entry that opened it or amended it last
    Column("kind", _TEXT, nullable=False),
    Column("refrigerant", _TEXT, nullable=True),
    sqlite_strict=True,
)
DERIVED = (LEG, ACCOUNT)
