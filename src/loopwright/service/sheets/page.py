"""The generated parts of docs/service.md: `python -m loopwright.service.sheets.page docs/service.md` renews them."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path

from loopwright.service.procedure import HAZARDS, records, steps
from loopwright.service.sheets.base import Calculator, Field
from loopwright.service.sheets.table import CALCULATORS

__all__ = ["main", "refreshed"]

_PART = re.compile(r"(<!-- table: (\w+) -->\n).*?(<!-- end -->)", re.DOTALL)


def refreshed(text: str) -> str:
    """Return the page with every generated table written afresh; the words between them stay.

    Raises
    ------
    KeyError : the page asks for a table that there is not
    """
    parts = {"calculations": _calculations, "steps": _steps, "records": _records}
    return _PART.sub(lambda m: m[1] + "\n".join(parts[m[2]]()) + "\n" + m[3], text)


def main() -> None:
    """Write the page named on the command line afresh."""
    path = Path(sys.argv[1])
    path.write_text(refreshed(path.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")


def _calculations() -> Iterator[str]:
    for form in CALCULATORS.values():
        yield f"\n### `{form.name}`\n\n{form.says}\n\n| field | in | what | without it |\n| --- | --- | --- | --- |"
        yield from (_row(form, item) for item in form.fields)


def _row(form: Calculator, item: Field) -> str:
    choices = f" ({', '.join(item.choices)})" if item.choices else ""
    missing = f"`{item.default}`" if item.default else "needed" if item.required and item.kind != "flag" else ""
    return f"| `{item.name}` | {item.unit or item.kind} | {item.says}{choices} | {missing} |"


def _steps() -> Iterator[str]:
    yield "| step | after | writes down | passing over it |\n| --- | --- | --- | --- |"
    for step in steps():
        records = ", ".join(f"`{record}`" for record in step.records)
        hazard = HAZARDS[step.hazard].removeprefix("Passing over it ").rstrip(".")
        yield f"| `{step.id}`: {step.title} | {', '.join(step.after)} | {records} | {hazard} |"


def _records() -> Iterator[str]:
    yield "| record | in | what |\n| --- | --- | --- |"
    for record in records().values():
        choices = f" ({', '.join(record.choices)})" if record.choices else ""
        yield f"| `{record.id}` | {record.unit or record.kind} | {record.says}{choices} |"


if __name__ == "__main__":
    main()
