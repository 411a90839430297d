"""A service sheet as text, for a terminal, a printer or a file: 80 columns, caution first, result, inputs, sources."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from loopwright.api.service import OBTAINED, Sheet
from loopwright.figures.layout import WIDTH, folded, heading
from loopwright.language import say

__all__ = ["sheet_text"]

_LABEL = 44


def sheet_text(sheet: Sheet) -> str:
    """Write a sheet: title, what can hurt at the act, result, sentences, inputs, sources with how they were obtained.

    >>> from loopwright.api.service import calculate
    >>> text = sheet_text(calculate("co2e", {"refrigerant": "R134a", "mass": "550 g", "report": "AR5"}))
    >>> print(text.splitlines()[2])
      CO2 equivalent (AR5)                         715 kg
    """
    parts: list[Iterable[str]] = [
        [heading(sheet.title, sheet.word)],
        _cautions(sheet),
        [_line(label, text) for label, text in sheet.rows()],
        _sentences(sheet.says),
        _given(sheet),
        _sources(sheet),
    ]
    blocks = ["\n".join(line.rstrip() for line in part) for part in parts]
    return "\n\n".join(block for block in blocks if block) + "\n"


def _cautions(sheet: Sheet) -> Iterator[str]:
    for caution in sheet.cautions:
        yield from folded(caution, "! ", "  ")


def _line(label: str, text: str) -> str:
    if len(label) <= _LABEL and len(text) <= WIDTH - _LABEL - 3:
        return f"  {label:<{_LABEL}} {text}"
    return "\n".join([*folded(label, "  ", "    "), *folded(text, "      ", "      ")])


def _sentences(says: Iterable[str]) -> Iterator[str]:
    for sentence in says:
        yield from folded(sentence, "  ", "  ")


def _given(sheet: Sheet) -> Iterator[str]:
    if not sheet.given:
        return
    yield heading(say("From"), say("± is about 95 % in results, a limit in inputs"))
    for label, text in sheet.given:
        yield from folded(f"{label:<22} {text}", "  ", " " * 25)


def _sources(sheet: Sheet) -> Iterator[str]:
    yield heading(say("Sources"))
    for citation, obtained in sheet.sources:
        yield from folded(f"{citation} [{say(OBTAINED[obtained])}]", "  ", "    ")
