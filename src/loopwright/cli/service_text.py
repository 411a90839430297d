"""A service sheet, and where a job stands, as text: 80 columns, caution first, result with its uncertainty, sources."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator
from typing import Literal

from loopwright.api.service import OBTAINED, Sheet
from loopwright.figures.layout import WIDTH, folded, heading
from loopwright.language import say
from loopwright.service.procedure import HAZARDS, Job, State, StepState

__all__ = ["sheet_text", "state_text"]

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
        [heading(sheet.title, sheet.word)],
        _cautions(sheet),
        [_line(label, text) for label, text in sheet.rows()],
        _sentences(sheet.says),
        _given(sheet),
        _sources(sheet),
    ]
    blocks = ["\n".join(line.rstrip() for line in part) for part in parts]
    return "\n\n".join(block for block in blocks if block) + "\n"


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
