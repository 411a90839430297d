"""The customer's page as plain data: the sentence, why, the picture, the strips, what was done, the refrigerant."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from loopwright.diagnosis.judgement import Expected, Judgement
from loopwright.figures import placed, plane_figure, svg
from loopwright.figures.strips import in_order
from loopwright.figures.terms import row
from loopwright.figures.words import PHASES, cause_name, counts, headline, place_word, reading_name, severity_text
from loopwright.language import date, say, say_many
from loopwright.readings import Test
from loopwright.report.values import Report, Run
from loopwright.report.words import grams, momentous, summed, title, when

__all__ = ["Key", "as_written", "front", "key"]

Json = dict[str, Any]
Key = tuple[str, str, str, str]

# Outer width of a picture and height of its plane [px], alone or beside another: letters of 11 px come out at 7 pt.
_ALONE, _BESIDE = (760, 400), (390, 300)
_HELPING = 3  # checks named where nothing can be said
_LEAST, _MOST = 0.03, 4  # least probability of a cause that a customer reads of, and how many
# Which readings a customer sees first where the page cannot hold them all.
_FIRST = (("running", "high_side"), ("running", "low_side"), ("running", "vent_center"), ("standing", "low_side"))
_FAILING = ("does_not_perform", "marginal")


def front(report: Report) -> Json:
    """Return what the customer's page says, in the language spoken now."""
    runs = report.runs
    return {
        "title": title(report),
        "shop": [report.shop.name, *report.shop.address.splitlines(), report.shop.phone],
        "facts": [[name, value] for name, value in _facts(report) if value],
        "verdicts": [_verdict(run, runs) for run in reversed(runs)],
        "pictures": [_picture(run, runs) for run in runs if _is_drawn(run)],
        "causes": _causes(runs),
        "table": _table(runs),
        "done": [": ".join(part for part in (step.step, step.result) if part) for step in report.steps],
        "deviations": _deviations(report),
        "refrigerant": _refrigerant(report),
        "next": _next(runs),
        "signed": [part for part in (report.technician.name, report.technician.certification) if part],
        "words": _words(),
    }


def _words() -> dict[str, str]:
    return {
        "why": say("Why"),
        "readings": say("The readings"),
        "reading": say("Reading"),
        "picture": say(
            "Heavy line: as measured. Pale: as this vehicle should be in this weather. Across: heat; up: pressure."
        ),
        "done": say("What was done"),
        "refrigerant": say("Refrigerant"),
        "causes": say("Of 100 vehicles that read so"),
        "more": say("The rest is in the appendix."),
        "strip": say("the band is where 9 in 10 healthy ones lie"),
        "technician": say("Technician"),
        "signature": say("Signature"),
        "appendix": say("Every reading, instrument, step and source is in the appendix that follows."),
    }


def _facts(report: Report) -> Iterable[tuple[str, str]]:
    yield say("Job"), report.job
    yield say("Date"), date(report.made)
    yield say("Customer"), report.customer
    yield (
        say("Vehicle"),
        report.vehicle or next((r.test.vehicle.label for r in report.runs if r.test.vehicle.label), ""),
    )
    yield say("Plate"), report.plate
    yield say("VIN"), report.vin
    yield say("Odometer"), report.odometer
    if report.runs:
        vehicle = report.runs[-1].test.vehicle
        charge = "" if vehicle.charge is None else say("{grams} on the label", grams=grams(vehicle.charge))
        yield say("Refrigerant"), ", ".join(part for part in (vehicle.refrigerant, charge) if part)


def _verdict(run: Run, runs: Sequence[Run]) -> Json:
    judgement = run.judgement
    return {
        "moment": momentous(run, runs),
        "when": when(run.when),
        "shape": judgement.verdict,
        "sentence": headline(judgement, run.terms),
        "reasons": [*judgement.reasons, *_speaking(judgement)],
    }


def _speaking(judgement: Judgement) -> list[str]:
    """What speaks most for the first cause, where the vehicle does not perform."""
    if judgement.verdict not in _FAILING or not judgement.causes:
        return []
    return [speaks.says for speaks in judgement.causes[0].speaks_for[:2]]


def _causes(runs: Sequence[Run]) -> list[Json]:
    """What it may be, of 100 vehicles that read so, where the last test does not perform."""
    if not runs or runs[-1].judgement.verdict not in _FAILING:
        return []
    listed = [c for c in runs[-1].judgement.causes if c.probability >= _LEAST][:_MOST]
    rest = max(1.0 - sum(c.probability for c in listed), 0.0)
    shares = counts([*(c.probability for c in listed), rest])
    names = [cause_name(c) for c in listed] + [say("anything else")]
    severities = ["" if c.severity is None else severity_text(c.severity) for c in listed] + [""]
    found = zip(names, severities, shares, strict=True)
    return [{"name": name, "severity": severity, "share": share} for name, severity, share in found if share]


def _is_drawn(run: Run) -> bool:
    """A cycle is drawn only where something can be said of it."""
    return bool(run.judgement.cycle) and run.judgement.verdict != "cannot_say"


def _picture(run: Run, runs: Sequence[Run]) -> Json:
    width, height = _BESIDE if sum(_is_drawn(r) for r in runs) > 1 else _ALONE
    spec = plane_figure(run.judgement, run.terms, width=width, height=height)
    untitled = {k: v for k, v in spec.items() if k != "title"}
    return {"svg": svg(untitled), "caption": momentous(run, runs), "says": headline(run.judgement, run.terms)}


def key(of: Expected) -> Key:
    """Return what names one reading across tests: phase, point, quantity, moment of a cycle."""
    return (of.phase, of.point, of.quantity, of.statistic)


def as_written(test: Test, of: Expected) -> str:
    """Return the reading as the person wrote it; empty where nothing was read."""
    fits = [r for r in test.readings if (r.phase, r.point, r.quantity, r.statistic) == key(of)]
    return next((r.written for r in fits if r.value == of.measured), fits[-1].written if fits else "")


def _table(runs: Sequence[Run]) -> Json:
    shown = runs[-2:]
    keys: dict[Key, Expected] = {}
    for run in shown:
        keys |= {key(e): e for e in run.judgement.expected if e.measured is not None and key(e) not in keys}
    rows = [_row(e, shown) for e in in_order(keys.values())]
    ranks = sorted(range(len(rows)), key=lambda i: (rows[i]["rank"], i))
    for rank, i in enumerate(ranks):
        rows[i]["rank"] = rank
    return {"heads": [momentous(run, runs) or say("Read") for run in shown], "rows": rows}


def _row(of: Expected, runs: Sequence[Run]) -> Json:
    place = (of.phase, of.point)
    return {
        "name": reading_name(of),
        "phase": say(PHASES.get(of.phase, of.phase)).lower(),
        "rank": _FIRST.index(place) if place in _FIRST else len(_FIRST),
        "side": of.point if of.point in ("low_side", "high_side") else "",
        "cells": [_cell(run, key(of)) for run in runs],
    }


def _cell(run: Run, of: Key) -> Json | None:
    found = next((e for e in run.judgement.expected if key(e) == of), None)
    if found is None:
        return None
    shown = row(found, run.terms, run.judgement.ambient_pressure)
    strip = placed(shown.low, shown.median, shown.high, shown.measured)
    return {
        "value": as_written(run.test, found),
        "word": place_word(strip.word),
        "where": strip.word or "",
        "band": f"{shown.band} {shown.unit}",
        "median": strip.median,
        "mark": strip.mark,
        "beyond": strip.beyond,
    }


def _deviations(report: Report) -> str:
    n = len(report.deviations)
    if not n:
        return ""
    return say_many(
        "One step was not done as written; see the appendix.",
        "{n} steps were not done as written; see the appendix.",
        n,
    )


def _refrigerant(report: Report) -> list[str]:
    moved = report.refrigerant.movements
    out, into = summed(moved, "out"), summed(moved, "in")
    said = [
        say("Taken out: {grams}.", grams=out) if out else "",
        say("Put in: {grams}.", grams=into) if into else "",
        report.refrigerant.balance,
    ]
    return [part for part in said if part]


def _next(runs: Sequence[Run]) -> Json:
    """The check that should come next; where nothing can be said, the few that would help."""
    if not runs or runs[-1].judgement.verdict == "performs":
        return {"name": "", "checks": []}
    helping = runs[-1].judgement.verdict == "cannot_say"
    checks = runs[-1].judgement.next_checks[: _HELPING if helping else 1]
    said = [
        say_many("{check}, {n} minute", "{check}, {n} minutes", max(1, round(c.minutes)), check=c.check) for c in checks
    ]
    return {"name": say("What would help") if helping else say("What should come next"), "checks": said}
