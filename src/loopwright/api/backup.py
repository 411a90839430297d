"""Backing a shop up into one file, and restoring it; see `store.backup` for what the file holds."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import uuid4

if TYPE_CHECKING:
    from loopwright.api.shop import Shop

__all__ = ["back_up_to", "restore_from"]


def back_up_to(shop: Shop, file: Path) -> dict[str, int]:
    """Write a backup; the file appears when it is whole, so that a broken off one never replaces a good one.

    Returns
    -------
    dict : rows by table

    Raises
    ------
    InputError : the database holds no shop
    OSError : the file cannot be written
    """
    from loopwright.store.backup import back_up

    unfinished = file.with_name(f".{file.name}.{uuid4().hex[:8]}")
    try:
        with unfinished.open("xb") as out:
            rows = back_up(shop.engine, out, shop.clock())
            out.flush()
            os.fsync(out.fileno())
        unfinished.replace(file)
    finally:
        with suppress(FileNotFoundError):
            unfinished.unlink()
    return rows


def restore_from(database: str, file: Path) -> dict[str, int]:
    """Fill an empty database with a backup: all of it, verified, or nothing.

    Parameters
    ----------
    database : a file, or the URL of a PostgreSQL database
    file : what `back_up_to` wrote

    Returns
    -------
    dict : rows by table

    Raises
    ------
    InputError : no backup, a damaged one, one of a later version, or the database is not empty
    OSError : the file cannot be read
    """
    from loopwright.store import connect
    from loopwright.store.backup import restore

    engine = connect(database)
    try:
        return restore(engine, file)
    finally:
        engine.dispose()
