"""One test for the inspector: conditions, readings as written and as understood, causes, states, checks, engine."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from loopwright.diagnosis.judgement import Cause, Expected, Interval, Judgement
from loopwright.figures.states import state_rows
from loopwright.figures.strips import in_order
from loopwright.figures.terms import row
from loopwright.figures.words import (
    PHASES,
    cause_name,
    counts,
    fault_name,
    headline,
    likelihood,
    point_name,
    reading_name,
    severity_text,
)
from loopwright.language import decimal, say, say_many
from loopwright.quantities import from_si, show
from loopwright.readings import Instrument, Reading, Test, default_sigma, instrument_of
from loopwright.readings import table as points
from loopwright.report.blocks import Json, lines, pairs, section, sentences, table
from loopwright.report.front import key
from loopwright.report.values import Run
from loopwright.report.words import CHOICES, OBSERVED, run_title, when

__all__ = ["CHECKS", "listed", "tested"]

CHECKS = 8  # next checks listed
_LEAST = 0.005  # probability below which causes are only summed up
_REASONS = 4  # readings named for and against one cause


def tested(run: Run, runs: Sequence[Run]) -> list[Json]:
    """Return the sections of one test; those without content are empty and left out by the caller."""
    test, judgement = run.test, run.judgement
    found = [
        section(run_title(run, runs), [_conditions(run)]),
        section(
            say("Verdict"), [sentences(headline(judgement, run.terms), *judgement.reasons, judgement.settled_why)], 2
        ),
        section(say("Readings"), [_readings(run), _observations(test), _warnings(judgement)], 2),
        section(say("Acts, in the order in which they were done"), [_acts(run)], 2),
        section(say("Expected where nothing was read"), [_unread(run)], 2),
        section(say("Rules of thumb (common practice, no source)"), [_rules(judgement)], 2),
        section(say("Causes"), [_causes(judgement), _evidence(judgement)], 2),
        section(say("What the readings tell, in 9 of 10 cases between"), [_states(run)], 2),
        section(say("Checks not made"), [_checks(judgement)], 2),
        section(say("How it was worked out"), [_engine(judgement)], 2),
    ]
    return [part for part in found if part["blocks"]]


def _conditions(run: Run) -> Json:
    weather, how = run.test.weather, run.test.conditions
    fields = points().fields
    chosen = [(say("Blower"), how.blower), (say("Air"), how.air)]
    return pairs(
        [
            (say("Outdoor air"), show(weather.air_temperature, "temperature", "°C", 1)),
            (say("Relative humidity outdoors"), _shown(weather.relative_humidity, "fraction", "%")),
            (say("Altitude"), _shown(weather.altitude, "length", fields["weather"]["altitude_m"].unit)),
            (say("Air pressure taken"), f"{show(run.judgement.ambient_pressure, 'pressure', 'kPa', 1)}"),
            (say("Compressor speed"), _shown(how.compressor_speed, "rotation", "rpm")),
            *((name, say(CHOICES[word]) if word else "") for name, word in chosen),
            (say("Minutes running before the readings"), _shown(how.running_time, "time", "min")),
        ]
    )


def _shown(value: float | None, kind: str, unit: str) -> str:
    return "" if value is None else show(value, kind, unit)  # type: ignore[arg-type]


def _readings(run: Run) -> Json:
    heads = (
        say("Reading"),
        say("As written"),
        say("As understood, ± 1 sigma"),
        say("Expected"),
        say("Instrument"),
    )
    return table(heads, "lrrrw", (_reading(r, run) for r in _ordered(run.test.readings)))


def _ordered(readings: Iterable[Reading]) -> list[Reading]:
    return sorted(readings, key=lambda r: list(PHASES).index(r.phase))


def _reading(reading: Reading, run: Run) -> tuple[str, ...]:
    here = (reading.phase, reading.point, reading.quantity, reading.statistic)
    expected = next((e for e in run.judgement.expected if key(e) == here), None)
    return (
        f"{_name(reading)}, {say(PHASES[reading.phase]).lower()}{_seconds(reading)}",
        reading.written + _reference(reading),
        _understood(reading),
        "" if expected is None else _band(expected, run),
        _instrument(reading),
    )


def _name(reading: Reading) -> str:
    nothing = Interval(reading.value, reading.value, reading.value)
    return reading_name(Expected("", reading.point, reading.quantity, "", nothing, statistic=reading.statistic))


def _seconds(reading: Reading) -> str:
    return "" if reading.time is None else f", {show(reading.time, 'time', 's')}"


def _reference(reading: Reading) -> str:
    """Name the reference that a pressure was taken in, where the written words leave it open."""
    if reading.reference is None:
        return ""
    return f" ({say('gauge')})" if reading.reference == "gauge" else f" ({say('absolute')})"


def _understood(reading: Reading) -> str:
    """The value in SI with its standard uncertainty, both in one unit; a temperature's is the same in K."""
    quantity = points().quantities[reading.quantity]
    unit = "K" if quantity.kind == "temperature" else quantity.unit
    sigma = from_si(default_sigma(reading), quantity.accuracy_kind, unit)
    value, _, symbol = show(reading.value, quantity.kind, quantity.unit).partition(" ")
    absolute = f" {say('absolute')}" if quantity.kind == "pressure" else ""
    return f"{value} ± {decimal(sigma, 1 if sigma < 10 else 0)} {symbol}{absolute}"


def _band(expected: Expected, run: Run) -> str:
    shown = row(expected, run.terms, run.judgement.ambient_pressure)
    return f"{shown.band} {shown.unit}"


def _instrument(reading: Reading) -> str:
    """Name the instrument as the sheet does, and how far it may err; say so where it was only assumed."""
    usual = instrument_of(reading)
    named = reading.instrument or say("{instrument} (assumed)", instrument=say(usual.name))
    stated = say("accuracy as the sheet states it") if reading.sigma is not None else _limit(usual)
    return f"{named}; {stated}"


def _limit(instrument: Instrument) -> str:
    quantity = points().quantities[instrument.quantity]
    unit = "K" if quantity.kind == "temperature" else quantity.unit
    size = from_si(instrument.limit, quantity.accuracy_kind, unit)
    limit = f"{decimal(size, 0 if size >= 10 else 1)} {unit}"
    if not instrument.limit_of_value:
        return say("within {limit}", limit=limit)
    share = decimal(100 * instrument.limit_of_value, 1)
    return say("within {limit} and {share} % of the value", limit=limit, share=share)


def _observations(test: Test) -> Json:
    seen = [(point_name(o.point), say(PHASES[o.phase]).lower(), say(OBSERVED[o.value])) for o in test.observations]
    return table((say("Felt, seen or heard"), say("When"), say("What")), "lll", seen)


def _acts(run: Run) -> Json:
    rows = [(act.step, act.result, act.by, when(act.when)) for act in run.acts]
    return table((say("Act"), say("Remark"), say("By"), say("When")), "wwll", rows)


def _warnings(judgement: Judgement) -> Json:
    return lines(judgement.warnings, say("Please look again"))


def _unread(run: Run) -> Json:
    unread = [e for e in in_order(run.judgement.expected) if e.measured is None]
    rows = [(reading_name(e), say(PHASES[e.phase]).lower(), _band(e, run)) for e in unread]
    return table((say("Place"), say("When"), say("9 in 10 healthy ones lie in")), "llr", rows)


def _rules(judgement: Judgement) -> Json:
    places: dict[str, list[str]] = {}
    for e in in_order(judgement.expected):
        if e.rule:
            places.setdefault(e.rule, []).append(f"{reading_name(e)}, {say(PHASES[e.phase]).lower()}")
    return lines(f"{'; '.join(where)}: {rule.removeprefix(say('Rule of thumb: '))}" for rule, where in places.items())


def listed(judgement: Judgement) -> list[Cause]:
    """Return the causes that are named; the rest are only summed up."""
    return [c for c in judgement.causes if c.probability >= _LEAST]


def _causes(judgement: Judgement) -> Json:
    named = listed(judgement)
    rest = max(1.0 - sum(c.probability for c in named), 0.0)
    shares = counts([*(c.probability for c in named), rest]) if named else []
    rows = [_cause(cause, share) for cause, share in zip(named, shares, strict=False)]
    if named and shares[-1]:
        rows.append((str(shares[-1]), say("anything else"), "", "", ""))
    heads = (
        say("Of 100 that read so"),
        say("Cause"),
        say("How likely"),
        say("How bad, and in 9 of 10 cases between"),
        say("Looks alike"),
    )
    return table(heads, "rwlww", rows)


def _cause(cause: Cause, share: int) -> tuple[str, ...]:
    alike = ", ".join(fault_name(fault) for fault in cause.alike)
    severity = "" if cause.severity is None else severity_text(cause.severity)
    return (str(share), cause_name(cause), likelihood(cause.probability), severity, alike)


def _evidence(judgement: Judgement) -> Json:
    """What speaks for and against each cause, with its weight in nats: against the best other explanation."""
    rows = [row for cause in listed(judgement) for row in _speaking(cause)]
    heads = (say("Cause"), "", say("What speaks for it (+) and against it (−)"), say("Weight, nats"))
    return table(heads, "llwr", rows)


def _speaking(cause: Cause) -> list[tuple[str, ...]]:
    found = [("+", s) for s in cause.speaks_for[:_REASONS]] + [("−", s) for s in cause.speaks_against[:_REASONS]]
    names = [cause_name(cause)] + [""] * len(found)
    return [(name, sign, s.says, decimal(s.nats, 1)) for name, (sign, s) in zip(names, found, strict=False)]


def _states(run: Run) -> Json:
    return pairs(state_rows(run.judgement, run.terms))


def _checks(judgement: Judgement) -> Json:
    rows = [
        (c.check, f"{c.minutes:.0f}", decimal(c.information, 2), ", ".join(fault_name(f) for f in c.splits), c.caution)
        for c in judgement.next_checks[:CHECKS]
    ]
    heads = (say("Check"), say("Minutes"), say("Information, bits"), say("Tells apart"), say("Caution"))
    return table(heads, "wrrww", rows)


def _engine(judgement: Judgement) -> Json:
    samples = say_many("{n} effective sample", "{n} effective samples", round(judgement.fit.effective_samples))
    misfit = say(
        "{share} % of fitting vehicles read as oddly or more", share=decimal(100 * judgement.fit.misfit_probability, 0)
    )
    return pairs(
        [
            (say("Program"), f"Loopwright {judgement.engine}"),
            (say("Seed"), str(judgement.seed)),
            (say("Sampling"), samples),
            (say("Fit"), misfit),
            (say("Sheet"), judgement.id),
        ]
    )
