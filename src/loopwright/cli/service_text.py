"""A service sheet, and where a job stands, as text: 80 columns, caution first, result with its uncertainty, sources."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Iterator
from typing import Literal

from loopwright.api.service import Sheet
from loopwright.figures.layout import WIDTH, folded, heading
from loopwright.language import decimal, decimal_mark, later, say
from loopwright.quantities import from_si
from loopwright.service.procedure import HAZARDS, Job, State, StepState
from loopwright.service.sheets import Line
from loopwright.service.uncertain import Uncertain

__all__ = ["amount", "sheet_text", "state_text"]

COVERAGE = 2.0  # expanded uncertainty, about 95 %
OBTAINED = {
    "page": later("read in a public page"),
    "repository": later("read in a public repository"),
    "memory": later("FROM MEMORY, not read"),
    "computed": later("computed"),
    "practice": later("common practice, no source"),
}
_MARKS: dict[str, Literal["√", "×", "○", "·", "!"]] = {
    "done": "√",
    "deviated": "!",
    "open": "○",
    "ready": "○",
    "waiting": "·",
}
_LABEL = 44


def sheet_text(sheet: Sheet) -> str:
    """Write a sheet: title, what can hurt at the act, result, sentences, inputs, sources with how they were obtained.

    >>> from loopwright.api.service import calculate
    >>> text = sheet_text(calculate("co2e", {"refrigerant": "R134a", "mass": "550 g", "report": "AR5"}))
    >>> print(text.splitlines()[2])
      CO2 equivalent (AR5)                         715 kg
    """
    parts: list[Iterable[str]] = [
        [heading(sheet.title, say(sheet.verdict.replace("_", " ")))],
        _cautions(sheet),
        [_line(line) for line in sheet.lines],
        _sentences(sheet.says),
        _given(sheet),
        _sources(sheet),
    ]
    blocks = ["\n".join(line.rstrip() for line in part) for part in parts]
    return "\n\n".join(block for block in blocks if block) + "\n"


def amount(value: Uncertain, kind: str, unit: str) -> str:
    """Write a value with its expanded uncertainty (two sigma), both to the same place, two figures of uncertainty.

    >>> amount(Uncertain(0.03931, 0.00072), "mass", "g"), amount(Uncertain(295.15, 0.3), "temperature", "°C")
    ('39.3 ± 1.4 g', '22.00 ± 0.60 °C')
    """
    if kind == "number":
        middle, half = value.value, COVERAGE * value.sigma
    else:
        middle = from_si(value.value, kind, unit)  # type: ignore[arg-type]
        half = abs(from_si(value.value + COVERAGE * value.sigma, kind, unit) - middle)  # type: ignore[arg-type]
    if half <= 1e-9 * abs(middle):
        return f"{_figures(middle)} {unit}".rstrip()
    places = 1 - math.floor(math.log10(half))  # below zero: both end in zeros
    shown = max(places, 0)
    return f"{decimal(round(middle, places), shown)} ± {decimal(round(half, places), shown)} {unit}".rstrip()


def state_text(state: State, now: float) -> str:
    """Write where a job stands: the open or next step in full, the others in one line each."""
    job = state.job
    title = heading(
        say("Service"), f"{job.vehicle or say('vehicle')} · {job.refrigerant} · {1e3 * job.label_charge:.0f} g"
    )
    lines = [title, ""]
    for step in state.steps:
        lines += _step(step, job, full=step is state.next)
    if state.deviations:
        lines += ["", heading(say("Deviations"))]
        for event in state.deviations:
            at = datetime.datetime.fromtimestamp(event.at, datetime.UTC).strftime("%Y-%m-%d %H:%M UTC")
            lines += folded(f"{say(event.step.replace('_', ' '))}, {event.by}, {at}: {event.reason}", "  ! ", "    ")
    if state.next is None:
        lines += ["", say("All steps are done.")]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _step(state: StepState, job: Job, *, full: bool) -> Iterator[str]:
    from loopwright.service.cautions import cautions

    kept = ", ".join(f"{say(key.replace('_', ' '))} {value}" for key, value in state.records.items())
    yield from folded(f"{say(state.step.title)}{f': {kept}' if kept else ''}", f"  {_MARKS[state.status]} ", "    ")
    if not full:
        return
    # Until it is identified, the refrigerant may be any.
    refrigerant = None if state.step.hazard == "mixing" else job.refrigerant
    for caution in (cautions()[key] for key in state.step.cautions):
        if caution.applies(refrigerant, job.compressor):
            yield from folded(str(caution), "    ! ", "      ")
    for i, act in enumerate(state.step.do, 1):
        yield from folded(say(act), f"    {i}. ", "       ")
    if state.left:
        yield "    " + say("Timer: {minutes:.1f} min left.", minutes=state.left / 60)
    if state.status == "open":
        for says in state.against:
            yield from folded(says, "    - ", "      ")
    if HAZARDS[state.step.hazard]:
        yield from folded(say(HAZARDS[state.step.hazard]), "    ", "    ")


def _cautions(sheet: Sheet) -> Iterator[str]:
    for caution in sheet.cautions:
        yield from folded(caution, "! ", "  ")


def _line(line: Line) -> str:
    text = line.value if isinstance(line.value, str) else amount(line.value, line.kind, line.unit)
    if len(line.label) <= _LABEL and len(text) <= WIDTH - _LABEL - 3:
        return f"  {line.label:<{_LABEL}} {text}"
    return "\n".join([*folded(line.label, "  ", "    "), *folded(text, "      ", "      ")])


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


def _figures(value: float) -> str:
    """Write an exact value with four figures, or all of its whole digits."""
    return (f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:.4g}").replace(".", decimal_mark())
