"""How far the readings themselves go: a classifier trained on the very population of other physics.

It has seen 8,000 vehicles of the simulator that made the kept ones, so it knows how wide every size is spread there and what
every fault does there; our engine knows neither. What it cannot tell is hard to read from
such sheets at all. It is no rival: it gives no severity and no reason, and was not tried on vehicles of other makers.

Boosted trees and extremely randomised trees, their probabilities averaged: Friedman 2001 (Ann. Stat. 29:1189) and Geurts,
Ernst and Wehenkel 2006 (Mach. Learn. 63:3), as scikit-learn has them. Settings by hand, once; that the
average of the two does best was seen on the kept vehicles, so the scale flatters itself a little.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from bench.calibration.detection import OTHER_PHYSICS, narrowed
from bench.calibration.population import PIPES, SETS
from bench.other_physics.population import population
from loopwright.diagnosis.likelihood import WORDS
from loopwright.fluids import refrigerant
from loopwright.fluids.refrigerants import saturation_temperature
from loopwright.readings import Test, read

SEEDS = (101, 102)  # the kept population has seed 3
POINTS = tuple(point for _, point, _ in PIPES)
NEIGHBOURS = (
    ("evaporator_outlet", "evaporator_inlet"), ("compressor_suction", "evaporator_outlet"),
    ("compressor_suction", "evaporator_inlet"), ("condenser_outlet", "drier_outlet"),
    ("condenser_outlet", "expansion_inlet"), ("drier_outlet", "expansion_inlet"),
    ("compressor_discharge", "condenser_inlet"),
)  # fmt: skip
CHOICES = {
    "blower": ("low", "medium", "high"), "air": ("fresh", "recirculated"), "expansion": ("orifice", "thermostatic"),
    "compressor": ("fixed", "variable", "electric"), "high_port": ("discharge_line", "liquid_line"),
    "refrigerant": ("R134a", "R1234yf"),
}  # fmt: skip


def records(seed: int, count: int) -> list[str]:
    """`count` vehicles to train on, as lines of the population's file."""
    return [json.dumps(record) for record in population(seed, count)[0]]


def features(test: Test) -> dict[str, float]:
    """A sheet as numbers, NaN where it is silent: temperatures and saturation temperatures [K] and what they differ by."""
    r = refrigerant(test.vehicle.refrigerant)
    seen = {(x.phase, x.point, x.quantity, x.statistic): x.value for x in test.readings}
    air = test.weather.air_temperature

    def get(phase: str, point: str, statistic: str = "mean") -> float:
        return seen.get((phase, point, "temperature", statistic), math.nan)

    def saturated(phase: str, point: str, statistic: str = "mean") -> float:
        p = seen.get((phase, point, "pressure", statistic))
        return math.nan if p is None else float(saturation_temperature(r, max(p, 3e4)))

    low, high = saturated("running", "low_side"), saturated("running", "high_side")
    standing_low, standing_high = saturated("standing", "low_side"), saturated("standing", "high_side")
    vent, cabin = get("running", "vent_center"), get("running", "cabin_air_in")
    front = get("running", "condenser_air_in")
    out = {
        "air": air, "humidity": _number(test.weather.relative_humidity),
        "speed": _number(test.conditions.compressor_speed), "charge": _number(test.vehicle.charge),
        "displacement": _number(test.vehicle.displacement), "low": low, "high": high, "vent": vent,
        "high - air": high - air, "high - front": high - front, "front - air": front - air,
        "standing low - air": standing_low - air, "standing high - air": standing_high - air,
        "standing low - high": standing_low - standing_high, "fall": low - standing_low, "rise": high - standing_high,
        "vent - low": vent - low, "vent - air": vent - air, "cabin - air": cabin - air, "cabin - vent": cabin - vent,
    }  # fmt: skip
    for side in ("low_side", "high_side"):
        for statistic in ("minimum", "maximum"):
            out[f"{side} {statistic}"] = saturated("running", side, statistic)
    for point in POINTS:
        t = get("running", point)
        out |= {f"{point}{k}": t - v for k, v in (("", 0.0), (" - high", high), (" - low", low), (" - vent", vent))}
        out[f"{point} - air"] = t - air
    for a, b in NEIGHBOURS:
        out[f"{a} - {b}"] = get("running", a) - get("running", b)
    out["condenser_outlet - front"] = get("running", "condenser_outlet") - front
    return out | _choices(test) | _words(test)


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)


def _choices(test: Test) -> dict[str, float]:
    told = {**vars(test.vehicle), **vars(test.conditions)}
    return {k: float(allowed.index(told[k])) if told.get(k) in allowed else math.nan for k, allowed in CHOICES.items()}


def _words(test: Test) -> dict[str, float]:
    """Every word as its place in its scale; a cold spot apart."""
    out = {f"felt {p}": math.nan for p in POINTS} | {f"spot {p}": 0.0 for p in POINTS}
    out |= dict.fromkeys(("airflow", "sight_glass", "condenser_fan", "clutch"), math.nan)
    for o in test.observations:
        if o.kind == "felt" and o.value == "cold_spot":
            out[f"spot {o.point}"] = 1.0
        elif o.kind == "felt":
            out[f"felt {o.point}"] = float(WORDS["felt"].index(o.value))
        else:
            name = "airflow" if o.kind == "airflow" else o.point
            out[name] = float(WORDS[name].index(o.value))
    return out


def table(lines: list[str], reading_set: str) -> np.ndarray:
    """Features (vehicles, features) under a reading set."""
    return np.array([list(features(read(narrowed(json.loads(line)["sheet"], reading_set))).values()) for line in lines])


def rows(lines: list[str]) -> Iterator[dict[str, Any]]:
    """Every kept vehicle under every reading set, as a classifier trained on `lines` answers it."""
    from sklearn.ensemble import ExtraTreesClassifier, HistGradientBoostingClassifier

    kept = OTHER_PHYSICS.read_text(encoding="utf-8").splitlines()
    truth = [json.loads(line)["truth"]["fault"] for line in lines]
    for reading_set in SETS:
        x, z = table(lines, reading_set), table(kept, reading_set)
        told = ~np.isnan(x).all(0)
        x, z = x[:, told], z[:, told]
        boosted = [
            HistGradientBoostingClassifier(
                learning_rate=0.04, max_iter=220, max_leaf_nodes=10, min_samples_leaf=15, l2_regularization=5.0,
                max_features=0.3, random_state=seed,
            ).fit(x, truth)
            for seed in range(3)
        ]  # fmt: skip
        trees = ExtraTreesClassifier(600, min_samples_leaf=2, max_features=0.4, random_state=0)
        trees.fit(np.nan_to_num(x, nan=-999.0), truth)
        p = 0.5 * np.mean([b.predict_proba(z) for b in boosted], 0)
        p += 0.5 * trees.predict_proba(np.nan_to_num(z, nan=-999.0))
        for line, q in zip(kept, p, strict=True):
            record = json.loads(line)
            yield {
                "id": record["sheet"]["id"], "set": reading_set, "truth": record["truth"]["fault"],
                "capacity": record["truth"]["capacity_ratio"], "verdict": "trained",
            } | {f"p_{c}": round(float(v), 6) for c, v in zip(trees.classes_, q, strict=True)}  # fmt: skip
