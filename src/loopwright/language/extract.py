"""Brings the catalogues up to date: `python -m loopwright.language.extract`; translations already there are kept.

Writes `locale/loopwright.pot`, every `loopwright.po` with what is new and without what is gone, and the compiled
`loopwright.mo` beside it. With `--check` nothing is written: each fault is printed, and the exit code is 1 if there are
any.
"""

from __future__ import annotations

import io
import string
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from loopwright.language import languages
from loopwright.language.messages import gathered

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog, Message

__all__ = ["compiled", "faults", "main", "template", "translated", "written"]

_LOCALE = Path(__file__).resolve().parent / "locale"
_HEADER = "# Messages of Loopwright; translations are edited here, everything else is renewed by `python -m {module}`."
_NO_DAY = datetime(2000, 1, 1, tzinfo=UTC)  # stands in the compiled header, which would hold the clock's otherwise
_KEPT = ('"Language:', '"Plural-Forms', '"MIME', '"Content')  # of the header; days would make every run a change


def template() -> Catalog:
    """Return the catalogue of all messages without translations."""
    from babel.messages.catalog import Catalog

    catalog = Catalog(charset="utf-8", fuzzy=False)
    for message in gathered():
        text = (message.text, message.plural) if message.plural else message.text
        catalog.add(text, locations=[(message.place, 1)])
    return catalog


def translated(language: str) -> Catalog:
    """Return the catalogue of a language as it is on disk."""
    from babel.messages.pofile import read_po

    with _po(language).open("rb") as file:
        catalog = read_po(file, locale=language)
    catalog.creation_date = catalog.revision_date = _NO_DAY
    return catalog


def written(catalog: Catalog) -> bytes:
    """Return the text of a catalogue, without days and line numbers, so that it changes only when a message does."""
    from babel.messages.pofile import write_po

    into = io.BytesIO()
    catalog.header_comment = _HEADER.format(module="loopwright.language.extract")
    write_po(into, catalog, include_lineno=False, ignore_obsolete=True, width=120)
    header, blank, rest = into.getvalue().decode("utf-8").partition("\n\n")
    lines = [line for line in header.split("\n") if not line.startswith('"') or line.startswith(_KEPT)]
    return ("\n".join(lines) + blank + rest).encode("utf-8")


def compiled(catalog: Catalog) -> bytes:
    """Return a catalogue in the form that `gettext` reads."""
    from babel.messages.mofile import write_mo

    into = io.BytesIO()
    write_mo(into, catalog)
    return into.getvalue()


def faults(language: str) -> Iterator[str]:
    """Yield what is wrong with a language: missing or left over, other placeholders, other blanks, a stale `.mo`."""
    found, wanted = translated(language), template()
    for message in wanted:
        if message.id:
            yield from _faults(message, found.get(message.id))
    for message in found:
        if message.id and wanted.get(message.id) is None:
            yield f"no longer said: {message.id!r}"
    if _strings(_po(language).with_suffix(".mo").read_bytes()) != _strings(compiled(found)):
        yield "loopwright.mo is not what loopwright.po compiles to"


def main(arguments: list[str]) -> int:
    """Write the catalogues, or check them; return the exit code."""
    wrong = 0
    if "--check" not in arguments:
        _LOCALE.joinpath("loopwright.pot").write_bytes(written(template()))
    for language in languages():
        if language == "en":
            continue
        if "--check" not in arguments:
            catalog = translated(language)
            catalog.update(template(), no_fuzzy_matching=True)
            catalog.obsolete.clear()
            _po(language).write_bytes(written(catalog))
            _po(language).with_suffix(".mo").write_bytes(compiled(translated(language)))
        for fault in faults(language):
            wrong += 1
            print(f"{language}: {fault}")
    return 1 if wrong else 0


def _po(language: str) -> Path:
    return _LOCALE / language / "LC_MESSAGES" / "loopwright.po"


def _strings(binary: bytes) -> dict[tuple[str, ...], tuple[str, ...]]:
    """Return what a compiled catalogue says; its header is left out, for it names the Babel that wrote it."""
    from babel.messages.mofile import read_mo

    return {_all(m.id): _all(m.string or "") for m in read_mo(io.BytesIO(binary)) if m.id}


def _faults(wanted: Message, found: Message | None) -> Iterator[str]:
    ids, texts = _all(wanted.id), _all(found.string or "") if found is not None else ()
    if not texts or not all(texts):
        yield f"not translated: {ids[0]!r}"
        return
    for place, text in enumerate(texts):
        english = ids[min(place, len(ids) - 1)]
        if _holes(text) != _holes(english):
            yield f"other placeholders: {english!r}: {text!r}"
        if _ends(text) != _ends(english):
            yield f"other blanks at the ends: {english!r}: {text!r}"


def _all(found: str | tuple[str, ...] | list[str]) -> tuple[str, ...]:
    return (found,) if isinstance(found, str) else tuple(found)


def _holes(text: str) -> set[tuple[str, str, str | None]]:
    """Return the placeholders of a template, with how each is written."""
    try:
        return {(name, spec or "", how) for _, name, spec, how in string.Formatter().parse(text) if name}
    except ValueError:  # a brace that opens nothing
        return {("{", "", None)}


def _ends(text: str) -> tuple[int, int]:
    return len(text) - len(text.lstrip()), len(text) - len(text.rstrip())


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
