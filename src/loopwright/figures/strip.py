"""Where a reading's mark lies on its strip: one geometry for terminal, page, picture and paper.

Every strip is drawn in the same measure: the expected band is its middle third, so that bands stand under each other
and a mark outside catches the eye whatever its unit. The strip reaches one band width beyond the band on either side; a
mark further out stands at the end and says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["REACH", "Strip", "Word", "placed"]

Word = Literal["below", "inside", "above"]
REACH = 1.0  # band widths drawn beyond the band on either side


@dataclass(frozen=True)
class Strip:
    """A strip in band widths: the band runs from 0 to 1, `median` and `mark` lie on the same scale.

    `mark` is held to -REACH..1+REACH, None where nothing was read; `beyond` tells that it really lies further out.
    """

    median: float
    mark: float | None
    word: Word | None
    beyond: bool


def placed(low: float, median: float, high: float, measured: float | None) -> Strip:
    """Place a reading on its strip; all four in the same unit, whichever it is.

    Raises
    ------
    ValueError : low, median, high not in rising order

    >>> placed(10.0, 14.0, 20.0, 5.0)
    Strip(median=0.4, mark=-0.5, word='below', beyond=False)
    >>> placed(10.0, 14.0, 20.0, 90.0)
    Strip(median=0.4, mark=2.0, word='above', beyond=True)
    """
    if not low <= median <= high:
        raise ValueError(f"not in rising order: {low}, {median}, {high}")
    width = high - low
    share = 0.5 if width == 0 else (median - low) / width
    if measured is None:
        return Strip(share, None, None, False)
    if low <= measured <= high:
        return Strip(share, share if width == 0 else (measured - low) / width, "inside", False)
    edge, sign, word = (low, -1.0, _BELOW) if measured < low else (high, 1.0, _ABOVE)
    out = abs(measured - edge) / width if width else REACH
    mark = sign * min(out, REACH) + (1.0 if sign > 0 else 0.0)
    return Strip(share, mark, word, out > REACH)


_BELOW: Word = "below"
_ABOVE: Word = "above"
