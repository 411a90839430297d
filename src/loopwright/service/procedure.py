"""A refrigerant service as ordered steps with real preconditions: events in, state derived, nothing stored.

Every event is a frozen value with the wall clock's time, so that a job resumes anywhere, timers run on while nobody
looks (`derive` is told the present), and what was passed over stays on record with its reason. What no reason excuses
(another refrigerant, PAG in an electric compressor) is refused. `events` turns facts into plain data and back.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Literal

from loopwright.cards import load
from loopwright.errors import InputError, Problem
from loopwright.language import later, say
from loopwright.service.events import Deviated, Event, Finished, Job, Noted, Opened, Started

__all__ = [
    "Deviated",
    "Event",
    "Finished",
    "Job",
    "Noted",
    "Opened",
    "Record",
    "Rule",
    "Started",
    "State",
    "Step",
    "StepState",
    "Timer",
    "add",
    "derive",
    "records",
    "steps",
]

Hazard = Literal["mixing", "vent", "hurt", "none"]
Status = Literal["waiting", "ready", "open", "done", "deviated"]
SHORTEST_REASON = 12  # characters; "ok" is no reason
CLOCK_STEP = 300.0  # s that one clock may be behind another: two phones, or one that was set right in between

HAZARDS: Mapping[str, str] = {
    "mixing": later("Passing over it can mix refrigerants."),
    "vent": later("Passing over it can vent refrigerant."),
    "hurt": later("Passing over it can hurt someone."),
    "none": "",
}


@dataclass(frozen=True)
class Rule:
    """What a record must be. Exactly one of the conditions; `never`: no reason excuses breaking it."""

    record: str
    says: str
    same_as: str = ""
    same_as_text: str = ""
    not_like: str = ""
    at_least: float | None = None
    at_most: float | None = None
    below_atmosphere: bool = False
    only_compressor: str = ""
    never: bool = False


@dataclass(frozen=True)
class Record:
    """What a step writes down: the kind of value (as a calculator's field), the unit of a bare number, the choices.

    Below `least` [SI] a value is a slip, or was meant in another unit.
    """

    id: str
    says: str
    kind: Literal["mass", "volume", "fraction", "pressure", "absolute_pressure", "text", "choice"]
    unit: str = ""
    choices: tuple[str, ...] = ()
    least: float | None = None


@dataclass(frozen=True)
class Timer:
    """The least time [s] from the step's start, or from a record, until it may be finished."""

    seconds: float = field(metadata={"unit": "s", "low": 0.0, "high": 86400.0})
    says: str
    from_record: str = ""


@dataclass(frozen=True)
class Step:
    """One step: what to do, after which others, what passing over it can do, what must be written down."""

    id: str
    title: str
    do: tuple[str, ...]
    source: tuple[str, ...]
    records: tuple[str, ...]
    cautions: tuple[str, ...]
    hazard: Hazard
    after: tuple[str, ...] = ()
    rules: tuple[Rule, ...] = ()
    timer: Timer | None = None


@dataclass(frozen=True)
class _Procedure:
    source: tuple[str, ...]
    note: str
    records: tuple[Record, ...]
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class StepState:
    """Where one step stands.

    `left` [s] is what its timer still asks for, `against` what stands against finishing it as written, `barred` whether
    some of that no reason excuses, `waits_for` the steps before it; `began` and `ended` [s] and who ended it.
    """

    step: Step
    status: Status
    records: Mapping[str, float | str]
    waits_for: tuple[str, ...]
    left: float
    against: tuple[str, ...]
    barred: bool
    reason: str = ""
    began: float | None = None
    ended: float | None = None
    by: str = ""


@dataclass(frozen=True)
class State:
    """Where a job stands at a time: its steps in order, the one to do next (None when all is done), its deviations."""

    job: Job
    steps: tuple[StepState, ...]
    next: StepState | None
    deviations: tuple[Deviated, ...]

    def of(self, step: str) -> StepState:
        """Return the state of one step by its id."""
        return next(s for s in self.steps if s.step.id == step)


@cache
def steps() -> tuple[Step, ...]:
    """Return the steps of a service in their order.

    Raises
    ------
    CardError : the card is wrong

    >>> [s.id for s in steps()][:3]
    ['identify', 'recover', 'repair']
    """
    return load("loopwright.service", "cards/procedure.toml", _Procedure).steps


@cache
def records() -> Mapping[str, Record]:
    """Return what steps write down, by id.

    Raises
    ------
    CardError : the card is wrong

    >>> records()["recovered_mass"].unit
    'g'
    """
    return {r.id: r for r in load("loopwright.service", "cards/procedure.toml", _Procedure).records}


def derive(events: Sequence[Event], now: float | None = None) -> State:
    """Return where a job stands.

    Parameters
    ----------
    events : in order, the first an `Opened`
    now : time of asking, on the clock of the events [s]; the latest event's without it

    Raises
    ------
    InputError : no events, or the first opens no job

    >>> job = Job("R134a", "R134a", "fixed", 0.5)
    >>> state = derive([Opened(0.0, "Kim", job)])
    >>> state.next.step.id, state.of("recover").status
    ('identify', 'waiting')
    """
    if not events or not isinstance(events[0], Opened):
        raise InputError(
            [Problem("events", say("no opening"), say("a job opened first"), say("No job to derive a state from."))]
        )
    job, at = events[0].job, events[0].at
    found: dict[str, _Track] = {step.id: _Track() for step in steps()}
    for event in events[1:]:
        at = max(at, event.at)  # a clock that was behind turns no timer back
        _apply(found, event, at)
    at = at if now is None else max(now, at)
    states = tuple(_state(step, found, job, at) for step in steps())
    deviations = tuple(event for event in events if isinstance(event, Deviated))  # kept, also when done again later
    following = next((s for s in states if s.status == "open"), None)
    following = following or next((s for s in states if s.status == "ready"), None)
    return State(job, states, following, deviations)


def add(events: Sequence[Event], event: Event) -> tuple[Event, ...]:
    """Return the events with one more, if it is allowed.

    Raises
    ------
    InputError : the event does not fit: a step before its preconditions, a finish with something missing or a timer
        still running, a deviation without a reason, or what no reason excuses

    >>> events = add((), Opened(0.0, "Kim", Job("R134a", "R134a", "fixed", 0.5)))
    >>> add(events, Started(5.0, "Kim", "charge"))
    Traceback (most recent call last):
    loopwright.errors.InputError: charge: First: Prove it tight. Found waiting; allowed: a step that is ready.
    """
    problems = _problems(events, event)
    if problems:
        raise InputError(problems)
    return (*events, event)


@dataclass
class _Track:
    """What the events so far say of one step."""

    opened: float | None = None
    closed: float | None = None
    by: str = ""
    ended: Literal["done", "deviated"] | None = None
    reason: str = ""
    records: dict[str, float | str] = field(default_factory=dict)
    noted: dict[str, float] = field(default_factory=dict)


def _apply(found: dict[str, _Track], event: Event, at: float) -> None:
    if isinstance(event, Opened) or event.step not in found:
        return  # a step that this version no longer has stays on record and counts for nothing
    track = found[event.step]
    if isinstance(event, Started):
        for step in (event.step, *_resting_on(event.step)):
            found[step] = _Track()
        found[event.step].opened = at
    elif isinstance(event, Noted):
        track.records[event.record] = event.value
        track.noted[event.record] = at
    else:
        track.ended, track.closed, track.by = "done", at, event.by
    if isinstance(event, Deviated):
        track.ended, track.reason = "deviated", event.reason


def _resting_on(step: str) -> tuple[str, ...]:
    """Every step that has this one before it, near or far."""
    gathered: list[str] = []
    for other in steps():
        if step in other.after or any(one in other.after for one in gathered):
            gathered.append(other.id)
    return tuple(gathered)


def _state(step: Step, found: Mapping[str, _Track], job: Job, at: float) -> StepState:
    track = found[step.id]
    waits = tuple(one for one in step.after if found[one].ended is None)
    broken = [rule for rule in step.rules if rule.record in track.records and _breaks(rule, track.records, job)]
    missing = [
        say("Not written down: {record}.", record=say(r.replace("_", " ")))
        for r in step.records
        if r not in track.records
    ]
    left = _left(step, track, at)
    against = (*missing, *(say(rule.says) for rule in broken))
    if left > 0.0 and step.timer:
        against = (*against, say(step.timer.says))
    if track.ended:
        status: Status = track.ended
    elif track.opened is not None:
        status = "open"
    else:
        status = "waiting" if waits else "ready"
    barred = any(rule.never for rule in broken)
    return StepState(
        step, status, dict(track.records), waits, left, against, barred, track.reason,
        track.opened, track.closed, track.by,
    )  # fmt: skip


def _left(step: Step, track: _Track, at: float) -> float:
    if step.timer is None or track.ended:
        return 0.0
    since = track.noted.get(step.timer.from_record) if step.timer.from_record else track.opened
    return step.timer.seconds if since is None else max(step.timer.seconds - (at - since), 0.0)


def _breaks(rule: Rule, records: Mapping[str, float | str], job: Job) -> bool:
    value = records[rule.record]
    if rule.only_compressor and rule.only_compressor != job.compressor:
        return False
    if rule.same_as:
        return _plain(value) != _plain(getattr(job, rule.same_as))
    if rule.same_as_text:
        return _plain(value) != _plain(rule.same_as_text)
    if rule.not_like:
        return _plain(rule.not_like) in _plain(value)
    if not isinstance(value, float | int):
        return True
    if rule.below_atmosphere:
        return value > job.atmosphere
    low = rule.at_least is not None and value < rule.at_least
    return low or (rule.at_most is not None and value > rule.at_most)


def _plain(value: float | str) -> str:
    return str(value).replace("-", "").replace(" ", "").casefold()


def _problems(events: Sequence[Event], event: Event) -> list[Problem]:
    if isinstance(event, Opened):
        return _against_opening(events, event.job)
    if not events:
        return [Problem("job", say("nothing"), say("a job opened first"), say("No job is open."))]
    early = max(one.at for one in events) - event.at
    if early > CLOCK_STEP:
        found, allowed = say("{time:.0f} s before", time=early), say("at most {time:.0f} s", time=CLOCK_STEP)
        return [Problem("at", found, allowed, say("Earlier than an event before it: is the clock right?"))]
    if event.step not in {step.id for step in steps()}:
        return [Problem("step", repr(event.step), ", ".join(s.id for s in steps()), say("No such step."))]
    state = derive(events, event.at).of(event.step)
    if isinstance(event, Started):
        return _against_start(state)
    if isinstance(event, Deviated):
        return _against_deviation(state, event)
    if state.status != "open":
        return [Problem(event.step, say(state.status), say("a step that is open"), say("Start the step first."))]
    if isinstance(event, Noted):
        names = state.step.records
        no_record = Problem("record", repr(event.record), ", ".join(names), say("This step writes down no such thing."))
        return [] if event.record in names else [no_record]
    allowed = say("done as written; no reason excuses this") if state.barred else say("done as written, or a deviation")
    return [Problem(event.step, say("not complete"), allowed, says) for says in state.against]


def _against_opening(events: Sequence[Event], job: Job) -> list[Problem]:
    problems = []
    if events:
        problems.append(Problem("job", say("a second opening"), say("one opening"), say("The job is open already.")))
    if _plain(job.refrigerant) != _plain(job.machine_refrigerant):
        says = say("The machine is for another refrigerant: never mix.")
        problems.append(Problem("machine_refrigerant", repr(job.machine_refrigerant), repr(job.refrigerant), says))
    return problems


def _against_start(state: StepState) -> list[Problem]:
    titles = {step.id: step.title for step in steps()}
    return [
        Problem(
            state.step.id, say("waiting"), say("a step that is ready"), say("First: {title}.", title=say(titles[one]))
        )
        for one in state.waits_for
    ]


def _against_deviation(state: StepState, event: Deviated) -> list[Problem]:
    problems = _against_start(state)
    if state.status in ("done", "deviated"):
        problems.append(
            Problem(event.step, say(state.status), say("a step not ended"), say("The step has ended; start it anew."))
        )
    if state.barred:
        says = " ".join(rule_says for rule_says in state.against)
        problems.append(Problem(event.step, say("a deviation"), say("none: no reason excuses this"), says))
    if len(event.reason.strip()) < SHORTEST_REASON:
        allowed = say("a reason of {count} characters or more", count=SHORTEST_REASON)
        problems.append(Problem("reason", repr(event.reason), allowed, say("A deviation needs its reason.")))
    hazard = state.step.hazard
    if hazard not in {"none", event.accepts}:
        problems.append(Problem("accepts", repr(event.accepts), repr(hazard), say(HAZARDS[hazard])))
    return problems
