"""The few shapes that the terminal text is made of: folded lines, bars, strips; plain characters, width 80, no colour.

Every character is in the set that Windows' console fonts have carried since long (WGL4).
"""

from __future__ import annotations

import textwrap
from math import floor

from loopwright.figures.strip import Strip

__all__ = ["WIDTH", "bar", "folded", "heading", "strip_cells"]

WIDTH = 80
_TRACK, _BAND, _MEDIAN, _MARK = "·", "░", "│", "●"
_FAR = {"below": "◄", "above": "►"}


def folded(text: str, indent: str = "", hang: str | None = None, width: int = WIDTH) -> list[str]:
    """Break a sentence into lines; `indent` stands before the first, `hang` before the others (default: blanks).

    A word too long for a line stays whole: it is a path, and a path is copied.

    >>> folded("in /a/long/path/to/a_sheet.json it says", width=16)
    ['in', '/a/long/path/to/a_sheet.json', 'it says']
    """
    others = " " * len(indent) if hang is None else hang
    wrapped = textwrap.wrap(
        text, width, initial_indent=indent, subsequent_indent=others, break_on_hyphens=False, break_long_words=False
    )
    return wrapped or [indent]


def heading(text: str, beside: str = "") -> str:
    """Write a heading, with a remark at the right edge."""
    return f"{text.upper()}{beside.rjust(WIDTH - len(text))}".rstrip()


def bar(probability: float, cells: int) -> str:
    """Draw a probability as a bar of at most `cells` characters, to half a character.

    >>> bar(0.5, 5), bar(0.001, 5)
    ('██▌', '')
    """
    halves = floor(2 * cells * min(max(probability, 0.0), 1.0) + 0.5)
    return "█" * (halves // 2) + "▌" * (halves % 2)


def strip_cells(strip: Strip, third: int) -> str:
    """Draw a strip of three times `third` characters: the band is the middle third, the mark stands where it was read.

    A mark stands on the band exactly when the reading lies in it; one beyond the strip's end is an arrow.

    >>> from loopwright.figures.strip import placed
    >>> strip_cells(placed(10.0, 15.0, 20.0, 5.0), 5), strip_cells(placed(10.0, 15.0, 20.0, None), 5)
    ('··●··░░│░░·····', '·····░░│░░·····')
    """
    cells = [_TRACK] * third + [_BAND] * third + [_TRACK] * third
    cells[third + _within(strip.median, third)] = _MEDIAN
    if strip.mark is not None and strip.word is not None:
        first = {"below": 0, "inside": third, "above": 2 * third}[strip.word]
        share = strip.mark - {"below": -1.0, "inside": 0.0, "above": 1.0}[strip.word]
        cells[first + _within(share, third)] = _FAR[strip.word] if strip.beyond else _MARK
    return "".join(cells)


def _within(share: float, cells: int) -> int:
    return min(max(floor(share * cells), 0), cells - 1)
