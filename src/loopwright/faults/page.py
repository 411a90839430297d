"""The page of the catalogue, docs/faults.md, made from the cards: `python -m loopwright.faults.page docs/faults.md`."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path

from loopwright.cards import sources
from loopwright.faults.catalogue import Fault, Severity, catalogue, cautions

__all__ = ["page"]

_HEAD = """# Faults

Made from the cards in `src/loopwright/faults/catalogue`; change those, then run
`python -m loopwright.faults.page docs/faults.md`.

The vehicle maker's procedure, local law and the licence that the work needs come before anything written here.
The weight says how often a cause is met, relative to the others that the vehicle can have; it is judgement.
"""


def page() -> str:
    """Return the catalogue as Markdown: an overview, a section a fault, and the sources with how each was obtained.

    >>> page().splitlines()[0]
    '# Faults'
    """
    faults = catalogue().values()
    keys = {key for fault in faults for key in fault.source}
    keys |= {key for caution in cautions().values() for key in caution.source}
    parts = [_HEAD, _overview(faults), *map(_section, faults), _sources(sorted(keys))]
    return "\n".join(parts)


def _overview(faults: Iterable[Fault]) -> str:
    rows = [f"| [`{f.id}`](#{f.id}) | {f.name} | {f.prior_weight:g} | {_vehicles(f)} |" for f in faults]
    return "\n".join(["| id | name | weight | vehicles |", "| --- | --- | --- | --- |", *rows, ""])


def _vehicles(fault: Fault) -> str:
    compressors = fault.applies_to.compressor
    return "every vehicle" if len(compressors) == 3 else f"{' and '.join(compressors)} compressor"


def _section(fault: Fault) -> str:
    names = {key: card.name for key, card in catalogue().items()}
    blocks = [
        f"## {fault.id}\n\n**{fault.name[0].upper()}{fault.name[1:]}.** {fault.plain}\n",
        _severities(fault),
        _list("Looks", fault.looks),
        _list("Sounds", fault.sounds),
        _list("Feels", fault.feels),
        _list("Resembles", (f"*{names[r.fault]}* (`{r.fault}`): {r.tell_apart}" for r in fault.resembles)),
        _list("Proves it", (f"{p.act} *{p.result}*" for p in fault.proves)),
        _list("Repair", fault.repair),
        _list("Cautions", (str(cautions()[key]) for key in fault.cautions)),
        f"Sources: {', '.join(fault.source)}. {fault.note}\n",
    ]
    return "\n".join(block for block in blocks if block)


def _severities(fault: Fault) -> str:
    """One line a variant: where it sits, what it bends and how far."""
    lines = []
    for variant in fault.variants:
        severity = fault.severity_of(variant)
        reach = _range(severity) if severity else ""
        sets = [f"sets `{f.field}` to {f.value:g}" for f in variant.fixed]
        bends = [f"`{b.field}` ({b.how.replace('_', ' ')})" for b in variant.bends]
        words = "; ".join(part for part in (variant.name, reach, *bends, *sets) if part)
        lines += [f"{words} (share {variant.weight:g})" if len(fault.variants) > 1 else words] if words else []
    return _list("How bad, and what it bends", lines) if lines else ""


def _range(severity: Severity) -> str:
    unit = "" if severity.unit == "1" else f" {severity.unit}"
    shape = severity.distribution.replace("_", "-")
    return f"`{severity.quantity}` {severity.low:g} to {severity.high:g}{unit}, {shape}; healthy {severity.healthy:g}"


def _list(title: str, lines: Iterable[str]) -> str:
    return "\n".join([f"{title}:\n", *(f"- {line}" for line in lines), ""])


def _sources(keys: Iterable[str]) -> str:
    rows = [f"- `{key}` ({sources()[key].obtained}): {sources()[key].citation}" for key in keys]
    return "\n".join(["## Sources\n", "In brackets: how the value reached us.\n", *rows, ""])


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(page(), encoding="utf-8", newline="\n")
