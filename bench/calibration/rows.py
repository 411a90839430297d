"""Rows of results as CSV beside the report, and the same work on several processes."""

from __future__ import annotations

import csv
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

KEPT_EVERY = 60.0  # s; a row takes from half a second to several minutes


def write(path: Path, rows: list[dict[str, Any]]) -> None:
    """All keys of all rows as columns, in the order they first appear."""
    columns = list(dict.fromkeys(k for row in rows for k in row))
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def read(path: Path) -> list[dict[str, str]]:
    """Rows of a file written by `write`; none where there is no file."""
    if not path.exists():
        return []
    with path.open(encoding="utf-8", newline="") as text:
        return list(csv.DictReader(text))


def map_rows(
    work: Callable[..., dict[str, Any]], jobs: Iterable[tuple[Any, ...]], workers: int, path: Path
) -> list[dict[str, Any]]:
    """`work(*job)` of every job, in order, on `workers` processes; `path` keeps what there is as it comes."""
    found: list[dict[str, Any]] = []
    kept = time.monotonic()
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        for row in pool.map(work, *zip(*jobs, strict=True)):
            found.append(row)
            if time.monotonic() > kept + KEPT_EVERY:
                write(path, found)
                kept = time.monotonic()
    write(path, found)
    return found
