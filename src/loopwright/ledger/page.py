"""The generated part of docs/ledger.md: `python -m loopwright.ledger.page docs/ledger.md` renews it."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path

from loopwright.ledger.law import Jurisdiction, how_sure, jurisdictions

__all__ = ["main", "refreshed"]

_PART = re.compile(r"(<!-- table: law -->\n).*?(<!-- end -->)", re.DOTALL)


def refreshed(text: str) -> str:
    """Return the page with what each jurisdiction asks written afresh; the words around it stay."""
    law = "\n".join(line for name, card in jurisdictions().items() for line in _jurisdiction(name, card))
    return _PART.sub(lambda m: m[1] + law + "\n" + m[2], text)


def main() -> None:
    """Write the page named on the command line afresh."""
    path = Path(sys.argv[1])
    path.write_text(refreshed(path.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")


def _jurisdiction(name: str, card: Jurisdiction) -> Iterator[str]:
    kept = (
        f"Records are kept {card.keep_years} years."
        if card.keep_years
        else "How long records are kept is not known here."
    )
    yield f"\n### `{name}`: {card.title}\n\n{kept} {card.note}".rstrip()
    yield "\n| provision | asks | answered by | rests on |\n| --- | --- | --- | --- |"
    for rule in card.rules:
        yield f"| {rule.provision} | {rule.asks} | {', '.join(rule.needs)} | {'; '.join(how_sure(rule))} |"


if __name__ == "__main__":
    main()
