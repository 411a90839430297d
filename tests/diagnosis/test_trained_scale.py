"""The classifier that serves as a scale sees what the sheet says, nothing of the truth, and NaN where it is silent."""

from __future__ import annotations

import json
import math

import pytest
from bench.calibration.detection import OTHER_PHYSICS, as_mixed, narrowed, probabilities
from bench.calibration.population import SETS
from bench.calibration.trained import SEEDS, features, table

from loopwright.faults import catalogue
from loopwright.readings import read

KEPT = OTHER_PHYSICS.read_text(encoding="utf-8").splitlines()
LINES = KEPT[:12]


def test_a_sheet_as_numbers() -> None:
    sheet = {
        "schema": 1,
        "vehicle": {"refrigerant": "R134a", "expansion": "orifice"},
        "weather": {"air_temperature_c": 30.0},
        "test": {"blower": "high"},
        "readings": [
            {"phase": "running", "point": "vent_center", "quantity": "temperature", "value": 8.0, "unit": "°C"},
            {"phase": "running", "point": "evaporator_inlet", "quantity": "temperature", "value": 4.5, "unit": "°C"},
        ],
        "observations": [{"phase": "running", "point": "evaporator_inlet", "kind": "felt", "value": "cold"}],
    }
    found = features(read(sheet))
    assert found["vent - air"] == pytest.approx(-22.0)
    assert found["evaporator_inlet - vent"] == pytest.approx(-3.5)
    assert (found["blower"], found["expansion"], found["felt evaporator_inlet"]) == (2.0, 0.0, 1.0)
    for silent in ("low", "high", "charge", "compressor", "evaporator_outlet - evaporator_inlet", "airflow"):
        assert math.isnan(found[silent])


@pytest.mark.parametrize("reading_set", SETS)
def test_a_narrowed_sheet_tells_less(reading_set: str) -> None:
    told = [sum(not math.isnan(v) for v in features(read(narrowed(json.loads(x)["sheet"], reading_set))).values())
            for x in LINES]  # fmt: skip
    everything = [sum(not math.isnan(v) for v in features(read(json.loads(x)["sheet"])).values()) for x in LINES]
    assert all(a <= b for a, b in zip(told, everything, strict=True))
    assert table(LINES, reading_set).shape[0] == len(LINES)


def test_no_kept_sheet_is_refused() -> None:
    """Whatever is wrong with a vehicle, its readings are possible: 35 % of propane once read as a mix-up of units."""
    for line in KEPT:
        read(json.loads(line)["sheet"])


def test_the_mix_of_the_vehicles_takes_the_place_of_our_weights() -> None:
    """Three short of refrigerant for one healthy, and evidence that tells nothing: three to one."""
    weight = {name: catalogue()[name].prior_weight for name in ("healthy", "undercharge")}
    told = {f"p_{name}": str(w / sum(weight.values())) for name, w in weight.items()}
    truths = ("healthy", "undercharge", "undercharge", "undercharge")
    rows = [{"id": str(i), "truth": truth, **told} for i, truth in enumerate(truths)]
    for row in as_mixed(rows):
        assert probabilities(row) == pytest.approx({"healthy": 0.25, "undercharge": 0.75})


def test_it_is_not_trained_on_what_it_is_tried_on() -> None:
    kept = {json.loads(x)["sheet"]["id"].split("-")[1] for x in LINES}
    assert kept.isdisjoint(map(str, SEEDS))
