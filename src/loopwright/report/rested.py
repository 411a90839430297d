"""What one judgement rested on: keys of sources, in the order in which they weigh."""

from __future__ import annotations

from collections.abc import Iterable

from loopwright.faults import catalogue
from loopwright.figures.words import check_card
from loopwright.readings import instrument_of
from loopwright.report.tested import CHECKS, listed
from loopwright.report.values import Run

__all__ = ["rested_on"]


def rested_on(run: Run) -> list[str]:
    """Return the keys of every source: priors, the causes listed, the instruments, the checks shown; each once."""
    return list(dict.fromkeys(_keys(run)))


def _keys(run: Run) -> Iterable[str]:
    yield from run.judgement.sources
    for cause in listed(run.judgement):
        yield from catalogue()[cause.fault].source if cause.fault in catalogue() else ()
    for reading in run.test.readings:
        yield from () if reading.sigma is not None else instrument_of(reading).source
    for check in run.judgement.next_checks[:CHECKS]:
        card = check_card(check.check)
        yield from card.source if card else ()
