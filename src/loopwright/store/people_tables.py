"""Tables of the people of a shop: who they are, what lets them in, and who changed what.

Moments that only decide whether something still holds are whole seconds since 1970; those that people read are text.
"""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, Index, Integer, Table, Text

from loopwright.store.tables import METADATA

__all__ = ["SHOP_AUDIT", "SHOP_INVITATION", "SHOP_PERSON", "SHOP_TOKEN"]

_TEXT = Text().with_variant(Text(collation="C"), "postgresql")
_WHOLE = BigInteger().with_variant(Integer, "sqlite")

SHOP_PERSON = Table(
    "shop_person",
    METADATA,
    Column("id", _TEXT, primary_key=True),
    Column("login", _TEXT, nullable=False, unique=True),  # the name in small letters
    Column("name", _TEXT, nullable=False),
    Column("role", _TEXT, nullable=False),
    Column("active", _WHOLE, nullable=False),
    Column("password", _TEXT, nullable=False),  # its hash; empty where nobody can sign in
    Column("preferences", _TEXT, nullable=False),
    Column("made", _TEXT, nullable=False),
    sqlite_strict=True,
)

SHOP_TOKEN = Table(
    "shop_token",
    METADATA,
    Column("hash", _TEXT, primary_key=True),
    Column("kind", _TEXT, nullable=False),  # session, api
    Column("person", _TEXT, nullable=False),
    Column("label", _TEXT, nullable=False),
    Column("made", _WHOLE, nullable=False),
    Column("seen", _WHOLE, nullable=False),
    sqlite_strict=True,
)
Index("shop_token_person", SHOP_TOKEN.c.person)

SHOP_INVITATION = Table(
    "shop_invitation",
    METADATA,
    Column("hash", _TEXT, primary_key=True),
    Column("kind", _TEXT, nullable=False),  # setup, join
    Column("role", _TEXT, nullable=False),
    Column("by", _TEXT, nullable=False),
    Column("made", _WHOLE, nullable=False),
    Column("expires", _WHOLE, nullable=False),
    Column("uses", _WHOLE, nullable=False),  # how many may still join by it
    sqlite_strict=True,
)

SHOP_AUDIT = Table(
    "shop_audit",
    METADATA,
    Column("seq", _WHOLE, primary_key=True, autoincrement=False),
    Column("at", _TEXT, nullable=False),
    Column("by", _TEXT, nullable=False),
    Column("what", _TEXT, nullable=False),
    Column("subject", _TEXT, nullable=False),
    Column("data", _TEXT, nullable=False),
    sqlite_strict=True,
)
