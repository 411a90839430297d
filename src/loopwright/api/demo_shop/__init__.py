"""A small shop of our own invention, to try the program out: vehicles, tests before and after, a service in full."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any

from loopwright.api.demo_shop.books import load_books
from loopwright.api.demo_shop.drawings import drawn
from loopwright.cards import load
from loopwright.job import TESTS, Entry, acts, new_entry, test_fields, vehicle_fields
from loopwright.service.events import Event, Finished, Job, Noted, Opened, Started, to_plain
from loopwright.service.procedure import add

if TYPE_CHECKING:
    from loopwright.api.shop import Shop

__all__ = ["judge_demo", "load_demo"]

_FIRST_HOUR = 14  # UTC; a morning where the shop is
_BETWEEN = timedelta(seconds=40)  # two entries of a practised hand
Moments = Iterator[datetime]


@dataclass(frozen=True)
class _Photo:
    drawing: str
    caption: str


@dataclass(frozen=True)
class _Step:
    step: str
    minutes: float
    records: Mapping[str, float | str] = field(default_factory=dict)


@dataclass(frozen=True)
class _Visit:
    vehicle: str
    days_ago: int
    by: str
    wrote: Mapping[str, str]
    acts: tuple[str, ...]
    before: Mapping[str, str]
    closed: bool = False
    notes: tuple[str, ...] = ()
    photos: tuple[_Photo, ...] = ()
    service: tuple[_Step, ...] = ()
    after: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class _DemoShop:
    source: tuple[str, ...]
    note: str
    vehicles: Mapping[str, Mapping[str, str]]
    jobs: tuple[_Visit, ...]

    def __post_init__(self) -> None:
        """Refuse what no page of ours could have entered."""
        tested = {key for visit in self.jobs for key in (*visit.before, *visit.after)}
        about = {key for card in self.vehicles.values() for key in card} | {k for v in self.jobs for k in v.wrote}
        done = {act for visit in self.jobs for act in visit.acts}
        if unknown := (tested - {*test_fields()}) | (about - {*vehicle_fields()}) | (done - {*acts()}):
            raise ValueError(f"known fields and acts; not {', '.join(sorted(unknown))}")


@cache
def _card() -> _DemoShop:
    return load("loopwright.api.demo_shop", "shop.toml", _DemoShop)


def load_demo(shop: Shop) -> int:
    """Fill a shop that has no jobs yet; return how many jobs were made, none where there are some already.

    Raises
    ------
    CardError : the card of the demo shop is wrong
    """
    from loopwright.store.jobs import Jobs

    if shop.records.jobs():
        return 0
    today = datetime.fromisoformat(shop.clock()).astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    known: dict[str, str] = {}
    for visit in sorted(_card().jobs, key=lambda one: -one.days_ago):
        start = today - timedelta(days=visit.days_ago)
        start = start.replace(hour=_FIRST_HOUR) if visit.days_ago else start - timedelta(hours=1)
        entries = list(_entries(visit, shop, _moments(start), known.get(visit.vehicle) is not None))
        records = Jobs(shop.engine, clock=_clock(start, entries))
        job = records.open(visit.by, known.get(visit.vehicle), at=_text(start))
        records.enter(job, entries)
        known[visit.vehicle] = records.job(job).vehicle
    load_books(shop)
    return len(_card().jobs)


def judge_demo(shop: Shop, wait: Callable[[float], bool], language: str = "en") -> int:
    """Judge what was not judged yet, newest job first, one test at a time; return how many.

    So that nobody at a page waits behind them, the next is asked for only when the last is done.

    Parameters
    ----------
    shop : the shop
    wait : lets so many seconds pass; True ends the judging early
    language : that the sentences are made in
    """
    made = 0
    for row in shop.records.jobs():
        for test in TESTS:
            if shop.judge(shop.job(row.id), test, language):
                made += 1
                while shop.judging(row.id, test, language):
                    if wait(0.1):
                        return made
    return made


def _moments(start: datetime) -> Moments:
    while True:
        start += _BETWEEN
        yield start


def _clock(start: datetime, entries: list[Entry]) -> Callable[[], str]:
    """Opened at the start, and entered by the last entry's moment."""
    moments = iter([_text(start), entries[-1].at])
    return lambda: next(moments)


def _entries(visit: _Visit, shop: Shop, moments: Moments, known: bool) -> Iterator[Entry]:
    card = {} if known else _card().vehicles[visit.vehicle]
    yield from _wrote(visit.by, "vehicle", {**card, **visit.wrote}, moments)
    for photo in visit.photos:
        kept = shop.records.add_photo("image/jpeg", drawn(photo.drawing))
        yield _entry("photo", visit.by, next(moments), photo=kept, caption=photo.caption)
    yield from _tested(visit, "before", visit.before, moments)
    for note in visit.notes:
        yield _entry("noted", visit.by, next(moments), text=note)
    if visit.service:
        moments = _moments((yield from _serviced(visit, moments)))
    if visit.after:
        yield from _tested(visit, "after", visit.after, moments)
    if visit.closed:
        yield _entry("closed", visit.by, next(moments))


def _tested(visit: _Visit, test: str, written: Mapping[str, str], moments: Moments) -> Iterator[Entry]:
    """What was written and what was done, stage by stage as the page asks for it."""
    first = ("protected", "exhaust_led_off", "connected")
    yield from _did(visit, test, [act for act in visit.acts if act in first], moments)
    yield from _wrote(visit.by, test, {k: v for k, v in written.items() if not k.startswith("running.")}, moments)
    running = ("hoses_clear", "settled")
    yield from _did(visit, test, [act for act in visit.acts if act in running], moments)
    yield from _wrote(visit.by, test, {k: v for k, v in written.items() if k.startswith("running.")}, moments)
    yield from _did(visit, test, [act for act in visit.acts if act not in (*first, *running)], moments)


def _wrote(by: str, room: str, values: Mapping[str, str], moments: Moments) -> Iterator[Entry]:
    for key, value in values.items():
        yield _entry("wrote", by, next(moments), field=f"{room}.{key}", value=value)


def _did(visit: _Visit, test: str, done: list[str], moments: Moments) -> Iterator[Entry]:
    for act in done:
        yield _entry("did", visit.by, next(moments), act=act, test=test)


def _serviced(visit: _Visit, moments: Moments) -> Generator[Entry, None, datetime]:
    """The procedure's events, each allowed by the procedure itself; returns the last one's moment."""
    from loopwright.quantities import parse

    card, at = _card().vehicles[visit.vehicle], next(moments).timestamp()
    refrigerant, compressor = card["refrigerant"], card["compressor"]
    charge = parse(card["charge"], "mass", default="g").value
    job = Job(refrigerant, refrigerant, compressor, charge, card["label"])  # type: ignore[arg-type]
    events = [Opened(at, visit.by, job), *_steps(visit, at)]
    allowed: tuple[Event, ...] = ()
    for event in events:
        allowed = add(allowed, event)
        yield _entry("service", visit.by, datetime.fromtimestamp(event.at, UTC), event=to_plain(event))
    return datetime.fromtimestamp(events[-1].at, UTC)


def _steps(visit: _Visit, at: float) -> Iterator[Event]:
    for step in visit.service:
        yield Started(at, visit.by, step.step)
        share = 60.0 * step.minutes / (len(step.records) + 1)
        for record, value in step.records.items():
            at += share
            yield Noted(at, visit.by, step.step, record, value)
        at += share
        yield Finished(at, visit.by, step.step)


def _entry(kind: Any, by: str, at: datetime, **data: Any) -> Entry:
    return new_entry(kind, by, _text(at), **data)


def _text(at: datetime) -> str:
    return at.strftime("%Y-%m-%dT%H:%M:%SZ")
