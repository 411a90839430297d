"""What each reading should be on this vehicle, healthy, in this weather: the prior's prediction, not a fixed table."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loopwright.circuit.points import PLACE
from loopwright.diagnosis.explain import quantile
from loopwright.diagnosis.judgement import Expected, PlanePoint
from loopwright.diagnosis.likelihood import instrument_sigma, model_error, place_of, predicted
from loopwright.diagnosis.prior import Hypothesis
from loopwright.diagnosis.sampler import draw_prior
from loopwright.language import say
from loopwright.readings import Reading, Test

__all__ = ["Healthy", "cycle_of", "expected", "healthy_draws"]

DRAWS = 240

# Rows that are shown whether or not they were read: what to expect before one looks.
ALWAYS: tuple[tuple[str, str, str], ...] = (
    ("standing", "low_side", "pressure"),
    ("standing", "high_side", "pressure"),
    ("running", "low_side", "pressure"),
    ("running", "high_side", "pressure"),
    ("running", "vent_center", "temperature"),
    ("running", "compressor_suction", "temperature"),
    ("running", "compressor_discharge", "temperature"),
    ("running", "condenser_outlet", "temperature"),
    ("running", "expansion_inlet", "temperature"),
    ("running", "evaporator_inlet", "temperature"),
    ("running", "evaporator_outlet", "temperature"),
)

CORNERS: tuple[tuple[str, str, str], ...] = (
    ("compressor in", "p_suction", "h_suction"),
    ("compressor out", "p_discharge", "h_discharge"),
    ("condenser in", "p_condenser_in", "h_condenser_in"),
    ("condenser out", "p_condenser_out", "h_liquid"),
    ("expansion in", "p_expansion_in", "h_liquid"),
    ("evaporator in", "p_evaporator_in", "h_liquid"),
    ("evaporator out", "p_evaporator_out", "h_evaporator_out"),
)


@dataclass(frozen=True)
class Healthy:
    """Prior draws of the healthy vehicle: outputs (n, outputs) and weights (n,)."""

    outputs: np.ndarray
    weights: np.ndarray


def healthy_draws(found: list[Hypothesis], r: np.ndarray, seed: int) -> Healthy:
    """Draws of every healthy hypothesis (one a structure), weighed by the structure's prior."""
    own = [h for h in found if h.fault.id == "healthy"]
    which, _, outs, solved = draw_prior(own, r, DRAWS, seed)
    share = np.exp([h.log_prior for h in own])[which]
    return Healthy(outs[solved], (share / share.sum())[solved])


def expected(test: Test, healthy: Healthy) -> tuple[Expected, ...]:
    """A band for each row always shown and each further reading of the sheet, with the reading beside it."""
    wanted: dict[tuple[str, str, str, str, float], Reading | None] = {(*row, "mean", 0.0): None for row in ALWAYS}
    for reading in test.readings:
        key = (reading.phase, reading.point, reading.quantity, reading.statistic, reading.time or 0.0)
        if place_of(*key[:4]) is not None:
            wanted[key] = reading
    return tuple(_row(key, reading, healthy, test) for key, reading in wanted.items())


def _row(key: tuple[str, str, str, str, float], reading: Reading | None, healthy: Healthy, test: Test) -> Expected:
    phase, point, quantity, statistic, time = key
    found = place_of(phase, point, quantity, statistic)
    assert found is not None
    values = np.array([predicted(row, found[0], found[1], time or 60.0) for row in healthy.outputs])
    band = quantile(values, healthy.weights)
    error = 1.645 * model_error(phase, point, quantity, statistic, max(band.median, 1.0))
    low = band.median - math.hypot(band.median - band.low, error)
    high = band.median + math.hypot(band.high - band.median, error)
    unit = {"pressure": "Pa", "temperature": "K", "air_speed": "m/s", "speed": "1/s"}.get(quantity, "1")
    floor = 0.0 if quantity != "temperature" else -math.inf
    return Expected(
        phase, point, quantity, unit, type(band)(max(low, floor), band.median, high, band.level),
        reading.value if reading is not None else None, statistic, _rule(phase, point, quantity, test),
        instrument_sigma(reading) if reading is not None else 0.0,
    )  # fmt: skip


def _rule(phase: str, point: str, quantity: str, test: Test) -> str:
    """The trade's rule of thumb for a reading, as a sentence; empty where there is none (common practice, no
    source)."""
    fahrenheit = (test.weather.air_temperature - 273.15) * 1.8 + 32.0
    if (phase, point, quantity) == ("running", "high_side", "pressure") and test.vehicle.refrigerant == "R134a":
        return say(
            "Rule of thumb: two to three times the air in °F, {low:.0f} to {high:.0f} psi.",
            low=2 * fahrenheit,
            high=3 * fahrenheit,
        )
    if (phase, quantity) == ("running", "temperature") and point.startswith("vent"):
        return say("Rule of thumb: about 20 °F (11 K) or more below the air outside.")
    if (phase, quantity) == ("standing", "pressure"):
        return say("Shows that liquid is present and how warm it is; it does not show how much is in.")
    return ""


def cycle_of(row: np.ndarray) -> tuple[PlanePoint, ...]:
    """Corners of the cycle in the pressure-enthalpy plane from one row of outputs."""
    return tuple(PlanePoint(name, float(row[PLACE[p]]), float(row[PLACE[h]])) for name, p, h in CORNERS)
