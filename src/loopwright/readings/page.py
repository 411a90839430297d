"""The generated parts of docs/readings.md: `python -m loopwright.readings.page docs/readings.md` writes them afresh."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from loopwright import cards
from loopwright.quantities import show, units_of
from loopwright.readings.instruments import instruments
from loopwright.readings.points import Field, table
from loopwright.readings.read import CHOICES, KEYS

__all__ = ["main", "refreshed"]

_PART = re.compile(r"(<!-- table: (\w+) -->\n).*?(<!-- end -->)", re.DOTALL)


def refreshed(text: str) -> str:
    """Return the page with every generated table written afresh; the words between them stay.

    Raises
    ------
    KeyError : the page asks for a table that there is not
    """
    return _PART.sub(lambda m: f"{m[1]}{_PARTS[m[2]]()}\n{m[3]}", text)


def main() -> None:
    """Write the page named on the command line afresh."""
    path = Path(sys.argv[1])
    path.write_text(refreshed(path.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")


def _rows(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def _code(words: Iterable[str]) -> str:
    return ", ".join(f"`{word}`" for word in words)


def _points() -> str:
    rows = [
        (f"`{name}`", point.name, point.place, _code(table().carries(name)) or "-", _observed(name))
        for name, point in table().points.items()
    ]
    return _rows(("point", "what", "where", "quantities read", "reported by hand, eye, ear"), rows)


def _observed(point: str) -> str:
    found = [f"`{kind}`: {', '.join(values)}" for kind, values in table().observed(point).items()]
    return "; ".join(found) or "-"


def _quantities() -> str:
    rows = [
        (f"`{name}`", q.name, q.si, q.unit, ", ".join(u.symbol for u in units_of(q.kind)))
        for name, q in table().quantities.items()
    ]
    return _rows(("quantity", "what", "inside (SI)", "printed in", "may be written in"), rows)


def _fields() -> str:
    rows = [_field(where, key, field) for where, fields in table().fields.items() for key, field in fields.items()]
    rows += [
        (f"`{where}.{key}`", "one of the words", ", ".join(CHOICES[key]))
        for where in ("vehicle", "test", "reading")
        for key in KEYS[where]
        if key in CHOICES
    ]
    return _rows(("key", "what", "allowed"), rows)


def _field(where: str, key: str, field: Field) -> tuple[str, str, str]:
    low, high = (show(limit, field.kind, field.unit) for limit in (field.low, field.high))
    return f"`{where}.{key}`", field.name, f"{low} to {high}"


def _refrigerants() -> str:
    rows = [
        (name, "running and standing" if r.loop else "standing pressure only", show(r.pressure_high, "pressure", "MPa"))
        for name, r in table().refrigerants.items()
    ]
    return _rows(("refrigerant", "judged", "refused above (absolute)"), rows)


def _instruments() -> str:
    rows = []
    for i in instruments().values():
        q = table().quantities[i.quantity]
        limit = show(i.limit, q.accuracy_kind, q.unit if q.kind != "temperature" else "K")
        more = f" + {i.limit_of_value * 100:g} % of the value" if i.limit_of_value else ""
        memory = ", ".join(f"{key} ({cards.sources()[key].obtained})" for key in i.source)
        rows.append((f"`{i.id}`", i.name, f"± {limit}{more}", ", ".join(i.default_at) or "-", memory))
    return _rows(("instrument", "what", "error limit", "taken by default at", "source (how obtained)"), rows)


_PARTS: dict[str, Callable[[], str]] = {
    "points": _points,
    "quantities": _quantities,
    "fields": _fields,
    "refrigerants": _refrigerants,
    "instruments": _instruments,
}

if __name__ == "__main__":
    main()
