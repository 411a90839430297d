"""From a report to the bytes of its PDF: the data as a file beside our templates, set by Typst.

What a person typed reaches the template as data and is never read as markup. Only the fonts that lie in this room and
in Typst are used, so that the same report gives the same bytes; letters that they lack are looked for on the machine.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import UTC
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, Literal

from loopwright.figures.theme import LIGHT
from loopwright.language import say, speaking, spoken
from loopwright.report.back import back
from loopwright.report.front import front
from loopwright.report.values import Report

if TYPE_CHECKING:
    import typst

__all__ = ["content", "pdf"]

STANDARDS: tuple[Literal["a-2a"], Literal["ua-1"]] = (
    "a-2a",
    "ua-1",
)  # for keeping (ISO 19005-2) and for screen readers (ISO 14289-1)
_TEMPLATES = ("main.typ", "parts.typ", "front.typ", "back.typ")
_PLAIN = range(0x20, 0x180)  # our own face has all of these letters
_ASKED = 400  # letters that are looked for one by one; more than that in one report are no writing of a person
_HIDDEN = ("Cc", "Cf", "Co", "Cn", "Cs")  # controls, marks that turn the writing's direction, private letters
_JOINERS = "\u200c\u200d\ufe0f"  # these belong to the letters beside them

_PHOTOGRAPHS = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"GIF8", b"RIFF")  # how JPEG, PNG, GIF and WebP begin

Files = dict[str, bytes]


def pdf(report: Report) -> bytes:
    """Return the report as a PDF: the first page for the customer, the rest for an inspector.

    The file is tagged, and fit for keeping (PDF/A-2a, PDF/UA-1). A photograph that cannot be read is left out and said
    to be. The same report gives the same bytes, on any machine as long as our own fonts have its letters.

    Raises
    ------
    ValueError : a paper that we do not set

    >>> from datetime import datetime
    >>> pdf(Report(made=datetime(2026, 11, 25), job="1042"))[:5]
    b'%PDF-'
    """
    if report.paper not in ("a4", "letter"):
        raise ValueError(f"paper is a4 or letter, not {report.paper!r}")
    photos = {f"photo-{i}": photo.data for i, photo in enumerate(report.photos)}
    with speaking(report.language):
        said = content(report)
    said["unreadable"] = [name for name, data in photos.items() if not _is_picture(data)]
    readable = {name: data for name, data in photos.items() if name not in said["unreadable"]}
    made = report.made if report.made.tzinfo else report.made.replace(tzinfo=UTC)  # the same on every machine
    return _set(cleaned(said), readable, int(made.timestamp()))


def content(report: Report) -> dict[str, Any]:
    """Return everything that the pages say, as plain data in the language spoken now; the template adds no word."""
    return {
        "paper": {"a4": "a4", "letter": "us-letter"}[report.paper],
        "language": spoken().partition("-")[0],
        "colours": asdict(LIGHT),
        "front": front(report),
        "back": back(report),
        "words": {
            "job": say("Job {job}", job=report.job) if report.job else "",
            "page": say("Page {n} of {all}", n="{n}", all="{all}"),
            "appendix": say("Appendix"),
            "unreadable": say("This photograph cannot be read."),
            "photograph": say("Photograph"),
        },
    }


def cleaned(said: Any) -> Any:
    """Return the data with every letter showable or named: controls and turning marks become their numbers.

    >>> cleaned(["a\\u202eb", "c\\x00", 3])
    ['a[U+202E]b', 'c[U+0000]', 3]
    """
    if isinstance(said, str):
        return "".join(ch if _is_shown(ch) else named(ch) for ch in said)
    if isinstance(said, Mapping):
        return {key: value if key == "svg" else cleaned(value) for key, value in said.items()}
    return [cleaned(item) for item in said] if isinstance(said, Sequence) else said


def named(letter: str) -> str:
    """Return the number of a letter that cannot be shown.

    >>> named("😀")
    '[U+1F600]'
    """
    return f"[U+{ord(letter):04X}]"


def _is_shown(letter: str) -> bool:
    return letter in "\n\t" or letter in _JOINERS or unicodedata.category(letter) not in _HIDDEN


def _set(said: dict[str, Any], photos: Files, made: int) -> bytes:
    """Set the pages with our fonts; with the machine's too where letters are missing; then name what still is."""
    import typst

    try:
        return _compiled(said, photos, made, _fonts())
    except typst.TypstError:
        doubtful = sorted(ch for ch in _letters(said) if ord(ch) not in _PLAIN)
    every = _fonts(with_system=True)
    absent = {ch for i, ch in enumerate(doubtful) if i >= _ASKED or not _has(ch, every)}
    return _compiled(_renamed(said, absent), photos, made, every)


def _compiled(said: dict[str, Any], photos: Files, made: int, fonts: typst.Fonts) -> bytes:
    data = json.dumps(said, ensure_ascii=False).encode("utf-8", errors="replace")
    return _typst({**_templates(), **photos, "said.json": data}, made, fonts)


def _typst(sources: Files, made: int, fonts: typst.Fonts) -> bytes:
    """Set `main.typ` among files in a folder of its own: in memory Typst takes files of text only."""
    import typst

    with TemporaryDirectory(prefix="loopwright-") as name:
        for file, data in sources.items():
            Path(name, file).write_bytes(data)
        main = Path(name, "main.typ")
        done = typst.Compiler(main, root=Path(name), font_paths=fonts).compile(
            format="pdf", pdf_standards=[*STANDARDS], timestamp=made
        )
    assert isinstance(done, bytes)
    return done


@cache
def _templates() -> Files:
    folder = files("loopwright.report") / "template"
    return {name: (folder / name).read_bytes() for name in _TEMPLATES}


@cache
def _fonts(with_system: bool = False) -> typst.Fonts:
    import typst

    with as_file(files("loopwright.report") / "fonts") as folder:
        return typst.Fonts(include_system_fonts=with_system, font_paths=[folder])


def _letters(said: Any) -> set[str]:
    if isinstance(said, str):
        return set(said)
    found: Iterable[Any] = said.values() if isinstance(said, Mapping) else said if isinstance(said, list) else ()
    return set().union(*map(_letters, found))


def _has(letter: str, fonts: typst.Fonts) -> bool:
    """Whether any font shows a letter, asked of Typst itself, which refuses to keep what nobody could read."""
    return _sets(
        b'#set document(title: "t")\n#text(json("said.json"))', {"said.json": json.dumps(letter).encode()}, fonts
    )


def _is_picture(data: bytes) -> bool:
    """Whether it is a photograph that Typst reads; a drawing or a document is none, and might refer to other files."""
    return data.startswith(_PHOTOGRAPHS) and _sets(
        b'#set document(title: "t")\n#image("photo", alt: "p")', {"photo": data}, _fonts()
    )


def _sets(main: bytes, beside: Files, fonts: typst.Fonts) -> bool:
    import typst

    try:
        _typst({"main.typ": main, **beside}, 0, fonts)
    except typst.TypstError:
        return False
    return True


def _renamed(said: Any, absent: set[str]) -> Any:
    if isinstance(said, str):
        return "".join(named(ch) if ch in absent else ch for ch in said)
    if isinstance(said, Mapping):
        return {key: _renamed(value, absent) for key, value in said.items()}
    return [_renamed(item, absent) for item in said] if isinstance(said, list) else said
