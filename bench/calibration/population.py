"""Sheets drawn from our own prior predictive: the model in a bay that it knows, so only the inference is on trial.

A day and a vehicle card are drawn first (any spread will do: the posterior is given them). Then a hypothesis by its
prior, its unknowns as standard normal numbers, the solved loop, and readings by the likelihood itself.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from loopwright.circuit.points import PLACE
from loopwright.diagnosis.likelihood import (
    AIRFLOW,
    CLUTCH,
    FAN,
    FELT,
    IN_RATIO,
    SIGHT_GLASS,
    TAILS,
    WORD_OUTPUT,
    WORDS,
    log_word,
    place_of,
    predicted,
    scaled,
    sigma_of,
)
from loopwright.diagnosis.prior import Hypothesis, hypotheses, stack
from loopwright.diagnosis.sampler import solve_draws
from loopwright.fluids import refrigerant_array
from loopwright.readings import Conditions, Observation, Reading, Test, Vehicle, Weather

SETS = ("gauges and vent", "plus pipes", "everything")
FLOOR = {"pressure": 1e3, "air_speed": 0.0}  # no instrument shows less
KEPT = 0.85  # share of the further readings and words that are really taken

GAUGES = (
    ("standing", "low_side", "pressure"),
    ("standing", "high_side", "pressure"),
    ("running", "low_side", "pressure"),
    ("running", "high_side", "pressure"),
    ("running", "vent_center", "temperature"),
)
PIPES = tuple(
    ("running", point, "temperature")
    for point in (
        "compressor_suction", "compressor_discharge", "condenser_inlet", "condenser_outlet", "drier_outlet",
        "expansion_inlet", "evaporator_inlet", "evaporator_outlet",
    )
)  # fmt: skip
MORE = (
    ("running", "condenser_air_in", "temperature"),
    ("running", "condenser_air_out", "temperature"),
    ("running", "cabin_air_in", "temperature"),
    ("running", "vent_center", "air_speed"),
    ("after_stop", "low_side", "pressure"),
    ("after_stop", "high_side", "pressure"),
)
FELT_POINTS = ("compressor_suction", "condenser_outlet", "expansion_inlet", "evaporator_inlet")
SEEN = (("sight_glass", SIGHT_GLASS), ("condenser_fan", FAN), ("clutch", CLUTCH))


class Case(NamedTuple):
    """A sheet and the truth behind it; `capacity` is cooling delivered over that of the same vehicle healthy."""

    index: int
    reading_set: str
    test: Test
    truth: Hypothesis
    u: np.ndarray
    outputs: np.ndarray
    capacity: float
    redrawn: int


def empty_sheet(rng: np.random.Generator, name: str) -> Test:
    """A vehicle card and a day, nothing read; on one sheet in seven the compressor's kind is unknown."""
    expansion, storage = [("thermostatic", "receiver"), ("orifice", "accumulator")][int(rng.random() < 0.4)]
    compressor: str | None = str(rng.choice(["fixed", "variable", "electric"], p=[0.5, 0.4, 0.1]))
    if rng.random() < 1 / 7:
        compressor = None
    return Test(
        name,
        Vehicle(
            str(rng.choice(["R134a", "R1234yf"], p=[0.7, 0.3])),
            expansion,
            storage,
            compressor,
            float(rng.uniform(0.4, 0.95)) if rng.random() < 0.8 else None,
            str(rng.choice(["discharge_line", "liquid_line"])),
        ),
        Weather(
            float(rng.uniform(288.0, 316.0)),
            float(rng.uniform(0.2, 0.8)) if rng.random() < 0.7 else None,
            float(rng.uniform(0.0, 1500.0)),
        ),
        Conditions(float(rng.uniform(14.0, 42.0)) if rng.random() < 0.8 else None, "high", "fresh", 600.0),
    )


def draw_case(seed: int, index: int) -> Case:
    """The `index`-th case of a population; a draw that does not solve is drawn again and counted."""
    rng = np.random.default_rng([seed, index])
    reading_set = SETS[index % 3]
    sheet = empty_sheet(rng, f"own-{seed}-{index:05d}")
    found = hypotheses(sheet)
    table, r = stack(found), refrigerant_array(sheet.vehicle.refrigerant)
    prior = np.exp([h.log_prior for h in found])
    redrawn = -1
    solved = np.array([False])
    while not solved[0]:
        redrawn += 1
        which = np.array([rng.choice(len(found), p=prior / prior.sum())])
        u = rng.standard_normal((1, table.kinds.shape[1]))
        outputs, solved = solve_draws(table, r, which, u)
    truth = found[which[0]]
    test = written(rng, sheet, outputs[0], reading_set)
    return Case(index, reading_set, test, truth, u[0], outputs[0], _capacity(found, truth, u, outputs[0], r), redrawn)


def _capacity(found: list[Hypothesis], truth: Hypothesis, u: np.ndarray, outputs: np.ndarray, r: np.ndarray) -> float:
    if truth.fault.id == "healthy":
        return 1.0
    twin = [i for i, h in enumerate(found) if h.fault.id == "healthy" and h.structure == truth.structure]
    then, solved = solve_draws(stack(found), r, np.array(twin), u.copy())
    healthy = then[0, PLACE["delivered"]]
    return float(outputs[PLACE["delivered"]] / healthy) if solved[0] and healthy > 50.0 else math.nan


def written(rng: np.random.Generator, sheet: Test, outputs: np.ndarray, reading_set: str) -> Test:
    """The sheet with readings and words drawn from the likelihood given the circuit's outputs."""
    level = SETS.index(reading_set)
    wanted = list(GAUGES)
    for least, rows in ((1, PIPES), (2, MORE)):
        wanted += [row for row in rows if level >= least and rng.random() < KEPT]
    readings = [_reading(rng, outputs, *row) for row in wanted]
    words = [w for w in _words(rng, outputs) if rng.random() < KEPT] if level == 2 else []
    return Test(sheet.id, sheet.vehicle, sheet.weather, sheet.conditions, tuple(readings), tuple(words))


def _reading(rng: np.random.Generator, outputs: np.ndarray, phase: str, point: str, quantity: str) -> Reading:
    """One reading y with (y - prediction) / sigma(y) from Student's t.

    The likelihood takes its sigma at the value read, so the draw must too: y is found by iteration. What remains is the
    factor dy/dz, a few hundredths of a nat for pressures.
    """
    place, form = place_of(phase, point, quantity, "mean") or (0, 0)
    time = 60.0 if phase == "after_stop" else None
    mean = predicted(outputs, place, form, time or 60.0)
    reading = Reading(phase, point, quantity, mean, time=time)
    z = rng.standard_t(TAILS) * math.sqrt((TAILS - 2.0) / TAILS)
    for _ in range(60):
        _, sigma = scaled(form, reading.value, sigma_of(reading))
        about, _ = scaled(form, mean, sigma)
        value = math.exp(about + z * sigma) if IN_RATIO[form] else mean + z * sigma
        reading = replace(reading, value=max(value, FLOOR.get(quantity, -math.inf)))
    return reading


def _words(rng: np.random.Generator, outputs: np.ndarray) -> list[Observation]:
    said = [Observation("running", p, "felt", _word(rng, "felt", FELT, PLACE[p], outputs)) for p in FELT_POINTS]
    airflow = _word(rng, "airflow", AIRFLOW, PLACE[WORD_OUTPUT["airflow"]], outputs)
    said.append(Observation("running", "vent_center", "airflow", airflow))
    said += [Observation("running", p, "seen", _word(rng, p, kind, PLACE[WORD_OUTPUT[p]], outputs)) for p, kind in SEEN]
    return said


def _word(rng: np.random.Generator, name: str, kind: int, place: int, outputs: np.ndarray) -> str:
    """A word by its probability; a cold spot is a question of its own and is not drawn."""
    choices = [w for w in WORDS[name] if w != "cold_spot"]
    p = np.exp([log_word(kind, place, i, outputs) for i in range(len(choices))])
    return choices[int(rng.choice(len(choices), p=p / p.sum()))]
