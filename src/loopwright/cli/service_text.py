"""Where a service job stands, as text of 80 columns."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Literal

from loopwright.api.service import record_text
from loopwright.figures.layout import folded, heading
from loopwright.language import say
from loopwright.service.procedure import HAZARDS, Job, State, StepState

__all__ = ["state_text"]

_MARKS: dict[str, Literal["√", "×", "○", "·", "!"]] = {
    "done": "√",
    "deviated": "!",
    "open": "○",
    "ready": "○",
    "waiting": "·",
}


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

    air = job.atmosphere
    kept = ", ".join(f"{say(key.replace('_', ' '))} {record_text(key, v, air)}" for key, v in state.records.items())
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
