"""The shop's tables. `shop_entry` holds the facts; jobs and vehicles are an index derived from it for lists."""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, Index, Integer, LargeBinary, Table, Text

from loopwright.store.tables import METADATA

__all__ = ["SHOP_ENTRY", "SHOP_JOB", "SHOP_JUDGEMENT", "SHOP_PHOTO", "SHOP_VEHICLE"]

_TEXT = Text().with_variant(Text(collation="C"), "postgresql")
_WHOLE = BigInteger().with_variant(Integer, "sqlite")

SHOP_ENTRY = Table(
    "shop_entry",
    METADATA,
    Column("seq", _WHOLE, primary_key=True, autoincrement=False),
    Column("id", _TEXT, nullable=False, unique=True),
    Column("job", _TEXT, nullable=False),
    Column("at", _TEXT, nullable=False),  # when it happened, by the clock of whoever entered it
    Column("recorded", _TEXT, nullable=False),
    Column("by", _TEXT, nullable=False),
    Column("kind", _TEXT, nullable=False),
    Column("data", _TEXT, nullable=False),
    sqlite_strict=True,
)
Index("shop_entry_job", SHOP_ENTRY.c.job, SHOP_ENTRY.c.seq)

SHOP_JOB = Table(
    "shop_job",
    METADATA,
    Column("id", _TEXT, primary_key=True),
    Column("number", _WHOLE, nullable=False, unique=True),
    Column("vehicle", _TEXT, nullable=False),
    Column("title", _TEXT, nullable=False),
    Column("search", _TEXT, nullable=False),
    Column("closed", _WHOLE, nullable=False),
    Column("opened", _TEXT, nullable=False),
    Column("changed", _TEXT, nullable=False),
    Column("verdict_before", _TEXT, nullable=False),
    Column("verdict_after", _TEXT, nullable=False),
    sqlite_strict=True,
)
Index("shop_job_changed", SHOP_JOB.c.changed)
Index("shop_job_vehicle", SHOP_JOB.c.vehicle)

SHOP_VEHICLE = Table(
    "shop_vehicle",
    METADATA,
    Column("id", _TEXT, primary_key=True),
    Column("title", _TEXT, nullable=False),
    Column("search", _TEXT, nullable=False),
    Column("card", _TEXT, nullable=False),
    Column("changed", _TEXT, nullable=False),
    sqlite_strict=True,
)
Index("shop_vehicle_changed", SHOP_VEHICLE.c.changed)

SHOP_JUDGEMENT = Table(
    "shop_judgement",
    METADATA,
    Column("job", _TEXT, primary_key=True),
    Column("test", _TEXT, primary_key=True),
    Column("language", _TEXT, primary_key=True),
    Column("engine", _TEXT, primary_key=True),
    Column("sheet", _TEXT, nullable=False),  # hash of the sheet that was judged
    Column("verdict", _TEXT, nullable=False),
    Column("made", _TEXT, nullable=False),
    Column("body", _TEXT, nullable=False),
    sqlite_strict=True,
)

SHOP_PHOTO = Table(
    "shop_photo",
    METADATA,
    Column("hash", _TEXT, primary_key=True),
    Column("kind", _TEXT, nullable=False),
    Column("made", _TEXT, nullable=False),
    Column("bytes", LargeBinary, nullable=False),
    sqlite_strict=True,
)
