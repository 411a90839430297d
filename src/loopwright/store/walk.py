"""Going through a whole table without holding it in memory."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Engine

from loopwright.store.engine import reading
from loopwright.store.people_tables import SHOP_AUDIT
from loopwright.store.shop_tables import SHOP_ENTRY, SHOP_JOB, SHOP_JUDGEMENT, SHOP_PHOTO, SHOP_VEHICLE

__all__ = ["audit", "entries", "jobs", "judgements", "photos", "vehicles"]

_AT_ONCE = 1000


def entries(engine: Engine) -> Iterator[Any]:
    """Every entry in the order of recording: seq, id, job, at, recorded, by, kind, data."""
    return _rows(engine, sa.select(SHOP_ENTRY).order_by(SHOP_ENTRY.c.seq))


def jobs(engine: Engine) -> Iterator[Any]:
    """Every job's line of the list, by number."""
    return _rows(engine, sa.select(SHOP_JOB).order_by(SHOP_JOB.c.number))


def vehicles(engine: Engine) -> Iterator[Any]:
    """Every vehicle by id: id, title, card, changed."""
    return _rows(engine, sa.select(SHOP_VEHICLE).order_by(SHOP_VEHICLE.c.id))


def judgements(engine: Engine) -> Iterator[Any]:
    """Every judgement kept, with the number of its job."""
    query = sa.select(SHOP_JUDGEMENT, SHOP_JOB.c.number).join(SHOP_JOB, SHOP_JOB.c.id == SHOP_JUDGEMENT.c.job)
    key = (SHOP_JOB.c.number, SHOP_JUDGEMENT.c.test, SHOP_JUDGEMENT.c.made, SHOP_JUDGEMENT.c.engine)
    return _rows(engine, query.order_by(*key, SHOP_JUDGEMENT.c.language), 50)


def photos(engine: Engine) -> Iterator[Any]:
    """Every photograph: hash, kind, made, bytes."""
    return _rows(engine, sa.select(SHOP_PHOTO).order_by(SHOP_PHOTO.c.hash), 8)


def audit(engine: Engine) -> Iterator[Any]:
    """The record of who changed what about people and settings."""
    return _rows(engine, sa.select(SHOP_AUDIT).order_by(SHOP_AUDIT.c.seq))


def _rows(engine: Engine, query: sa.Select[Any], at_once: int = _AT_ONCE) -> Iterator[Any]:
    with reading(engine) as connection:
        yield from connection.execute(query.execution_options(yield_per=at_once))
