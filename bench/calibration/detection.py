"""How often the cause is found, by what was read and by what the fault costs.

Outcome classes as Yuill and Braun 2013, HVAC&R Research 19:872-891 (from memory): correct, missed detection, false
alarm, misdiagnosis, no response. The answer taken is the first cause, healthy among them; no response when the verdict
is "cannot say".
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from bench.calibration.population import GAUGES, PIPES, SETS
from loopwright.diagnosis import judge
from loopwright.faults import catalogue
from loopwright.readings import Test, read

OUTCOMES = ("correct", "missed", "misdiagnosis", "no response", "false alarm")
EFFECTS = ((0.03, "over 3 %"), (0.10, "over 10 %"), (0.25, "over 25 %"))
OTHER_PHYSICS = Path(__file__).resolve().parents[2] / "tests" / "data" / "other_physics" / "population.jsonl"

# The scale: a classifier trained on such a population, as the task of this project states it (percent right on severe
# faults, on moderate faults, false alarms on healthy vehicles), by reading set.
SCALE = {"gauges and vent": (75, 30, 9), "plus pipes": (90, 73, 7), "everything": (93, 76, 4)}


def narrowed(sheet: Mapping[str, Any], reading_set: str) -> dict[str, Any]:
    """The sheet with only the readings of a set: mean running gauges, centre vent and standing; pipes; everything."""
    if reading_set == SETS[2]:
        return dict(sheet)
    wanted = set(GAUGES) | (set(PIPES) if reading_set == SETS[1] else set())
    kept = [
        x
        for x in sheet["readings"]
        if (x["phase"], x["point"], x["quantity"]) in wanted and x.get("statistic", "mean") == "mean"
    ]
    return {**sheet, "readings": kept, "observations": []}


def other_row(line: str, reading_set: str) -> dict[str, Any]:
    """One vehicle of other physics judged under one reading set."""
    record = json.loads(line)
    truth = record["truth"]
    answer = judge(_test(narrowed(record["sheet"], reading_set)), seed=0)
    row: dict[str, Any] = {
        "id": record["sheet"]["id"],
        "set": reading_set,
        "truth": truth["fault"],
        "capacity": truth["capacity_ratio"],
        "verdict": answer.verdict,
        "misfit": round(answer.fit.misfit_probability, 4),
        "alike": " ".join(answer.causes[0].alike),
    }
    for cause in answer.causes:
        row[f"p_{cause.fault}"] = round(cause.probability, 6)
        if cause.fault == truth["fault"] and cause.severity is not None:
            s, size = cause.severity, truth["severity"]
            if s.quantity == size["quantity"] and s.point in (None, size.get("point")):
                i = s.interval
                row |= {"severity": size["value"], "low": i.low, "median": i.median, "high": i.high}
    return row


def _test(sheet: Mapping[str, Any]) -> Test:
    return read(sheet)


def other_jobs(count: int) -> list[tuple[str, str]]:
    """The first `count` vehicles of the kept population under each reading set."""
    lines = OTHER_PHYSICS.read_text(encoding="utf-8").splitlines()[:count]
    return [(line, reading_set) for line in lines for reading_set in SETS]


def probabilities(row: Mapping[str, str]) -> dict[str, float]:
    """Class probabilities of a row read back from CSV."""
    return {k[2:]: float(v) for k, v in row.items() if k.startswith("p_") and v != ""}


def as_mixed(rows: Sequence[Mapping[str, str]]) -> list[dict[str, str]]:
    """The same rows with each class as common beforehand as it is among them, in place of our prior weights."""
    weights = {fault.id: fault.prior_weight for fault in catalogue().values()}
    vehicles = Counter({row["id"]: row["truth"] for row in rows}.values())
    found = []
    for row in rows:
        p = {k: v * vehicles[k] / weights[k] for k, v in probabilities(row).items()}
        total = sum(p.values())
        found.append({**row, **{f"p_{k}": str(v / total) for k, v in p.items()}})
    return found


def named(row: Mapping[str, str]) -> str | None:
    """The answer: "healthy", a fault, or None for no response."""
    if row["verdict"] == "cannot_say":
        return None
    p = probabilities(row)
    return max(p, key=lambda f: p[f])


def outcome(row: Mapping[str, str]) -> str:
    """The outcome class of a row; a healthy vehicle called healthy is correct."""
    answer, truth = named(row), row["truth"]
    if answer is None:
        return "no response"
    if answer == truth:
        return "correct"
    if truth == "healthy":
        return "false alarm"
    return "missed" if answer == "healthy" else "misdiagnosis"


def shares(rows: Iterable[Mapping[str, str]]) -> dict[str, float]:
    """Share of each outcome in percent, and `n`."""
    seen = [outcome(row) for row in rows]
    return {o: 100.0 * seen.count(o) / max(len(seen), 1) for o in OUTCOMES} | {"n": float(len(seen))}


def top_two(rows: Iterable[Mapping[str, str]]) -> float:
    """Percent of rows whose truth is among the two most probable causes."""
    hits = [row["truth"] in sorted((p := probabilities(row)), key=lambda f: -p[f])[:2] for row in rows]
    return 100.0 * sum(hits) / max(len(hits), 1)
