"""The inspector's appendix as plain data: sections of blocks (pairs, tables, sentences, lists, photographs)."""

from __future__ import annotations

from collections.abc import Mapping

from loopwright.cards import sources
from loopwright.language import say
from loopwright.quantities import show
from loopwright.report.blocks import Json, lines, pairs, section, sentences, table
from loopwright.report.rested import rested_on
from loopwright.report.tested import tested
from loopwright.report.values import Movement, Report
from loopwright.report.words import CHOICES, OBTAINED, grams, when

__all__ = ["back"]


def back(report: Report) -> list[Json]:
    """Return the sections of the appendix, in the language spoken now; empty ones are left out."""
    found = [
        _vehicle(report),
        *(part for run in report.runs for part in tested(run, report.runs)),
        _service(report),
        _refrigerant(report),
        section(say("Notes"), [lines(report.notes)]),
        _photos(report),
        section(say("Cautions"), [lines(_cautions(report))]),
        _sources(report),
    ]
    return [part for part in found if part["blocks"]]


def _vehicle(report: Report) -> Json:
    found = [
        (say("Vehicle"), report.vehicle),
        (say("Plate"), report.plate),
        (say("VIN"), report.vin),
        (say("Odometer"), report.odometer),
        (say("Customer"), report.customer),
    ]
    if report.runs:
        v = report.runs[-1].test.vehicle
        chosen = [
            (say("Expansion device"), v.expansion),
            (say("Storage"), v.storage),
            (say("Compressor"), v.compressor),
        ]
        found += [
            (say("Label"), v.label if v.label != report.vehicle else ""),
            (say("Refrigerant"), v.refrigerant),
            (say("Charge on the label"), "" if v.charge is None else grams(v.charge)),
            *((name, say(CHOICES[word]) if word else "") for name, word in chosen),
            (say("High-side port"), say(CHOICES[v.high_port]) if v.high_port else ""),
            (say("Displacement"), "" if v.displacement is None else show(v.displacement, "volume", "cm3")),
        ]
    return section(say("The vehicle"), [pairs(found)])


def _service(report: Report) -> Json:
    done = [(s.step, s.result, s.by, when(s.when)) for s in report.steps]
    passed = [(d.step, d.reason, d.by, when(d.when)) for d in report.deviations]
    heads = (say("Step"), say("Result"), say("By"), say("When"))
    reasons = (say("Step"), say("Reason"), say("By"), say("When"))
    return section(
        say("The service"),
        [
            table(heads, "wwll", done),
            table(reasons, "wwll", passed, say("Not done as written")),
        ],
    )


def _refrigerant(report: Report) -> Json:
    moved, words = report.refrigerant.movements, _directions()
    rows = [(m.what, words[m.direction], *_mass(m), when(m.when)) for m in moved]
    heads = (say("Movement"), say("Direction"), say("Mass"), say("Standard uncertainty"), say("When"))
    return section(
        say("Refrigerant accounted for"),
        [table(heads, "wlrrl", rows), sentences(report.refrigerant.balance, _unexplained(report))],
    )


def _directions() -> Mapping[str, str]:
    return {"out": say("out of the vehicle"), "in": say("into the vehicle"), "other": ""}


def _mass(movement: Movement) -> tuple[str, str]:
    mass, _, uncertainty = grams(movement.mass, movement.uncertainty).partition(" ± ")
    return mass, uncertainty


def _unexplained(report: Report) -> str:
    r = report.refrigerant
    if r.unexplained is None:
        return ""
    return say("Unexplained: {grams} (standard uncertainty).", grams=grams(r.unexplained, r.unexplained_uncertainty))


def _photos(report: Report) -> Json:
    rows = [{"file": f"photo-{i}", "caption": photo.caption} for i, photo in enumerate(report.photos)]
    return section(say("Photographs"), [{"kind": "photos", "rows": rows}])


def _cautions(report: Report) -> list[str]:
    said = [c for run in report.runs for c in run.judgement.cautions]
    return list(dict.fromkeys([*said, *report.cautions]))


def _sources(report: Report) -> Json:
    """Every source the judgement rested on, with how its values reached us; a key that nobody knows stands as it is."""
    keys = dict.fromkeys([*(key for run in report.runs for key in rested_on(run)), *report.sources])
    known = sources()
    rows = [(known[k].citation, say(OBTAINED[known[k].obtained])) if k in known else (k, "") for k in keys]
    heads = (say("Source"), say("How its values reached us"))
    return section(say("Sources the judgement rested on"), [table(heads, "wl", rows)])
