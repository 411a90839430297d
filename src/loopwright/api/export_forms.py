"""Tables written as CSV, JSON or Parquet, row by row, so that a large shop needs little memory."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, Literal, NamedTuple

__all__ = ["FORMS", "Column", "Row", "plain_cell", "write_table"]

Form = Literal["csv", "json", "parquet"]
FORMS: tuple[Form, ...] = ("csv", "json", "parquet")
Row = Mapping[str, Any]
_AT_ONCE, _MOST_TEXT = 10_000, 8_000_000  # rows and characters of a group in Parquet; it is held in memory
_RUNS = ("=", "+", "-", "@", "\t", "\r", "\n")  # what a spreadsheet takes for the beginning of a formula


class Column(NamedTuple):
    """A column: its name, "text", "whole" or "number", and what it says."""

    name: str
    kind: Literal["text", "whole", "number"]
    says: str


def write_table(path: Path, form: Form, columns: tuple[Column, ...], rows: Iterable[Row]) -> int:
    """Write a table; return how many rows.

    Parameters
    ----------
    path : the file, without its ending
    form : "csv" (RFC 4180, UTF-8 with a mark in front), "json" (an array of objects, one a line), or "parquet"
    columns : in order
    rows : each with a value for every column; None is empty

    Raises
    ------
    OSError : the file cannot be written
    """
    return _WRITERS[form](path.with_name(f"{path.name}.{form}"), columns, rows)


def plain_cell(value: Any) -> Any:
    """Return a value as a cell that no spreadsheet runs: text that begins like a formula gets an apostrophe in front.

    So does text that begins with an apostrophe, so that taking one away always gives back what was written.

    >>> plain_cell("=1+1"), plain_cell("'tis"), plain_cell("R134a"), plain_cell(-3.5), plain_cell(None)
    ("'=1+1", "''tis", 'R134a', -3.5, '')
    """
    if isinstance(value, str) and value.startswith((*_RUNS, "'")):
        return f"'{value}"
    return "" if value is None else value


def _csv(path: Path, columns: tuple[Column, ...], rows: Iterable[Row]) -> int:
    count = 0
    with path.open("w", encoding="utf-8-sig", newline="") as out:  # without the mark spreadsheets misread "°"
        writer = csv.writer(out)
        writer.writerow([column.name for column in columns])
        for count, row in enumerate(rows, 1):  # noqa: B007  # the last one is the count
            writer.writerow([plain_cell(row[column.name]) for column in columns])
    return count


def _json(path: Path, columns: tuple[Column, ...], rows: Iterable[Row]) -> int:
    count = 0
    with path.open("w", encoding="utf-8", newline="\n") as out:
        out.write("[")
        for count, row in enumerate(rows, 1):
            text = json.dumps({c.name: row[c.name] for c in columns}, ensure_ascii=False, allow_nan=False)
            out.write(f"{',' if count > 1 else ''}\n{text}")
        out.write("\n]\n")
    return count


def _parquet(path: Path, columns: tuple[Column, ...], rows: Iterable[Row]) -> int:
    import pyarrow as pa
    import pyarrow.parquet as pq

    kinds = {"text": pa.string(), "whole": pa.int64(), "number": pa.float64()}
    schema = pa.schema([pa.field(c.name, kinds[c.kind], metadata={"says": c.says}) for c in columns])
    count = 0
    with pq.ParquetWriter(path, schema, compression="zstd") as writer:
        for group in _groups(rows):
            count += len(group)
            arrays = [pa.array([row[c.name] for row in group], kinds[c.kind]) for c in columns]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema))
    return count


def _groups(rows: Iterable[Row]) -> Iterator[list[Row]]:
    waiting: list[Row] = []
    text = 0
    for row in rows:
        waiting.append(row)
        text += sum(len(value) for value in row.values() if isinstance(value, str))
        if len(waiting) >= _AT_ONCE or text >= _MOST_TEXT:
            yield waiting
            waiting, text = [], 0
    if waiting:
        yield waiting


_WRITERS = {"csv": _csv, "json": _json, "parquet": _parquet}
