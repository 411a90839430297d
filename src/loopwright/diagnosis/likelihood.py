"""How probable the readings are, given what a bent and solved circuit would show.

Each reading is off by instrument noise and by the model's own error on that vehicle, added in squares, with the heavy
tails of Student's t so that one slipped clip does not decide the case. Hands and eyes report in words; a word is as
probable as the temperature behind it makes it, less a share of plain mistakes.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numba import njit

from loopwright.circuit import points
from loopwright.circuit.points import PLACE
from loopwright.readings import Observation, Reading, Test, default_sigma

__all__ = [
    "TAILS",
    "Evidence",
    "evidence",
    "in_scale",
    "log_likelihood",
    "log_t",
    "log_word",
    "predict_reading",
    "predicted",
    "scaled",
]

TAILS = 5.0  # degrees of freedom of the t distribution of a reading's error
MISTAKE = 0.06  # share of words that are simply wrong: a judgement
AIRFLOW_MISTAKE = 0.20  # a judgement: who does not know this blower takes weak air for normal, or normal for weak
DIRECT, AFTER_STOP_LOW, AFTER_STOP_HIGH, AIR_SPEED_VENT, AIR_SPEED_CONDENSER, HUMIDITY = range(6)
LEAST_AIR_SPEED = 0.5  # m/s; slower air counts as this: a judgement
# The least value [SI] by form where readings are off by a factor and compared by logarithms; nought where they are not.
IN_RATIO = (0.0, 1.0, 1.0, LEAST_AIR_SPEED, LEAST_AIR_SPEED, 0.0)

# The model's own error, one standard deviation: what a sound model of one vehicle is still off by on another.
# Judgements, checked against vehicles simulated by other physics (see docs/inference.md).
PRESSURE_SHARE = 0.035
PRESSURE_FLOOR = 7e3
STANDING_SHARE = 0.008
AFTER_STOP_SHARE = 0.20
MODEL_ERROR = {
    "vent_center": 1.3, "vent_left": 1.8, "vent_right": 1.8,
    "compressor_suction": 1.6, "compressor_discharge": 1.8, "condenser_inlet": 1.8, "condenser_outlet": 1.0,
    "drier_outlet": 0.8, "expansion_inlet": 0.9, "evaporator_inlet": 0.9, "evaporator_outlet": 1.0,
    "ambient_air": 0.7, "condenser_air_in": 1.3, "condenser_air_out": 4.0, "cabin_air_in": 1.0,
}  # fmt: skip


class Evidence(NamedTuple):
    """The sheet as arrays: readings (n) and words (m)."""

    place: np.ndarray  # (n,) output read
    form: np.ndarray  # (n,) how the output becomes the reading
    value: np.ndarray  # (n,) SI, its logarithm where the form is off by a factor
    sigma: np.ndarray  # (n,) in the same scale, instrument and model together
    time: np.ndarray  # (n,) s after the stop
    word_kind: np.ndarray  # (m,)
    word_place: np.ndarray  # (m,) output behind the word
    word: np.ndarray  # (m,) which word of its kind


WORDS: dict[str, tuple[str, ...]] = {
    "felt": ("frost", "cold", "cool", "neutral", "warm", "hot", "cold_spot"),
    "airflow": ("none", "weak", "normal"),
    "sight_glass": ("clear", "bubbles", "foam", "oil_streaks", "cloudy"),
    "condenser_fan": ("stopped", "running"),
    "clutch": ("not_engaged", "cycling", "engaged"),
}
FELT, AIRFLOW, SIGHT_GLASS, FAN, CLUTCH = range(5)
WORD_OUTPUT = {  # what is behind a word of each kind; behind one of warmth it is the pipe that was felt
    "airflow": "vent_air_at_step",
    "sight_glass": "bubbles",
    "condenser_fan": "condenser_air_fraction",
    "clutch": "duty",
}


def place_of(phase: str, point: str, quantity: str, statistic: str) -> tuple[int, int] | None:
    """Output and form of a reading; None where the model has nothing to say of it."""
    if phase == "standing":
        if quantity == "pressure":
            return PLACE["standing_low" if point == "low_side" else "standing_high"], DIRECT
        return (PLACE["ambient_air"], DIRECT) if point == "ambient_air" and quantity == "temperature" else None
    if phase == "after_stop":
        if quantity == "pressure":
            return PLACE[point], AFTER_STOP_LOW if point == "low_side" else AFTER_STOP_HIGH
        return None
    if quantity in ("pressure", "temperature"):
        name = "vent_center" if point in ("vent_left", "vent_right") else point
        if statistic != "mean" and name in ("low_side", "high_side", "vent_center"):
            name = f"{name}_{statistic}"
        return (PLACE[name], DIRECT) if name in PLACE else None
    if quantity == "air_speed":
        vent = point.startswith("vent")
        return PLACE["vent_air_fraction" if vent else "condenser_air_fraction"], (
            AIR_SPEED_VENT if vent else AIR_SPEED_CONDENSER
        )
    if quantity == "relative_humidity" and point.startswith("vent"):
        return PLACE["vent_humidity"], HUMIDITY
    if quantity == "duty":
        return PLACE["duty"], DIRECT
    if quantity == "speed":
        return PLACE["speed"], DIRECT
    return None


def model_error(phase: str, point: str, quantity: str, statistic: str, value: float) -> float:
    """The model's own standard error for one reading, in the reading's SI unit."""
    if quantity == "pressure":
        if phase == "standing":
            return STANDING_SHARE * value + 2e3
        if phase == "after_stop":
            return AFTER_STOP_SHARE * value
        share = PRESSURE_SHARE if statistic == "mean" else 1.7 * PRESSURE_SHARE
        return math.hypot(share * value, PRESSURE_FLOOR)
    if quantity == "temperature":
        return MODEL_ERROR.get(point, 3.0) * (1.0 if statistic == "mean" else 1.5)
    return {"air_speed": 0.35 * max(value, LEAST_AIR_SPEED), "duty": 0.12, "speed": 0.03 * value}.get(quantity, 0.12)


def instrument_sigma(reading: Reading) -> float:
    """Standard error of the instrument, as the sheet gives it or as its class usually has."""
    return reading.sigma if reading.sigma is not None else default_sigma(reading)


def sigma_of(reading: Reading) -> float:
    """Standard error of a reading: the instrument's and the model's, added in squares."""
    own = instrument_sigma(reading)
    error = model_error(reading.phase, reading.point, reading.quantity, reading.statistic, reading.value)
    return math.hypot(own, error)


def scaled(form: int, value: float, sigma: float) -> tuple[float, float]:
    """A reading and its standard error in the scale in which it is compared (`in_scale`).

    An error that grows in proportion to the value is one of the logarithm: with a spread taken at what was read, the
    distance of a great value from a small prediction would have an end (1/0.35 spreads for an air speed).
    """
    return in_scale(form, value), sigma / max(value, IN_RATIO[form]) if IN_RATIO[form] else sigma


def evidence(test: Test) -> tuple[Evidence, tuple[Reading, ...], tuple[Observation, ...]]:
    """The sheet as arrays, with the readings and the words that the arrays' rows stand for."""
    used = [(r, p) for r in test.readings if (p := place_of(r.phase, r.point, r.quantity, r.statistic)) is not None]
    words = [(o, w) for o in test.observations if (w := _word_of(o)) is not None]
    compared = [scaled(p[1], r.value, sigma_of(r)) for r, p in used]
    return (
        Evidence(
            np.array([p[0] for _, p in used], np.int64),
            np.array([p[1] for _, p in used], np.int64),
            np.array([value for value, _ in compared], np.float64),
            np.array([sigma for _, sigma in compared], np.float64),
            np.array([r.time if r.time is not None else 60.0 for r, _ in used], np.float64),
            np.array([w[0] for _, w in words], np.int64),
            np.array([w[1] for _, w in words], np.int64),
            np.array([w[2] for _, w in words], np.int64),
        ),
        tuple(r for r, _ in used),
        tuple(o for o, _ in words),
    )


def _word_of(o: Observation) -> tuple[int, int, int] | None:
    """Kind, output and word of an observation; None where the model has nothing to say of it."""
    if o.phase != "running":
        return None
    kind = o.point if o.kind == "seen" else o.kind
    place = PLACE.get(WORD_OUTPUT.get(kind, o.point))
    if kind not in WORDS or place is None:
        return None
    return list(WORDS).index(kind), place, WORDS[kind].index(o.value)


@njit(cache=True)
def predicted(out: np.ndarray, place: int, form: int, time: float) -> float:
    """What a reading should say, from the outputs of a circuit.

    Air speeds are 7 m/s at the vent and 3 m/s at the condenser times the share of healthy flow (orders of size; the
    wide error of such a reading covers them). After a stop the pressures close in exponentially.
    """
    if form == DIRECT:
        return out[place]
    if form == AFTER_STOP_LOW:
        return out[points.AFTER_COMMON] + (out[points.LOW] - out[points.AFTER_COMMON]) * math.exp(
            -time / out[points.AFTER_TIME]
        )
    if form == AFTER_STOP_HIGH:
        return out[points.AFTER_COMMON] + (out[points.HIGH] - out[points.AFTER_COMMON]) * math.exp(
            -time / out[points.AFTER_TIME]
        )
    if form == AIR_SPEED_VENT:
        return 7.0 * out[place]
    if form == AIR_SPEED_CONDENSER:
        return 3.0 * out[place]
    return min(max(out[place] * 160.0, 0.05), 1.0)


@njit(cache=True)
def in_scale(form: int, value: Any) -> Any:
    """A value [SI], or an array of them, in the scale in which it is compared: as it is, or its logarithm."""
    return np.log(np.maximum(value, IN_RATIO[form])) if IN_RATIO[form] > 0.0 else value


@njit(cache=True)
def predict_reading(e: Evidence, k: int, out: np.ndarray) -> float:
    """Prediction of reading `k` of the sheet, in the scale of its value."""
    value: float = in_scale(e.form[k], predicted(out, e.place[k], e.form[k], e.time[k]))
    return value


@njit(cache=True)
def _below(x: float) -> float:
    """Standard normal distribution function."""
    return 0.5 * math.erfc(-x / 1.4142135623730951)


@njit(cache=True)
def _felt_edge(i: int, ambient: float) -> float:
    """Upper edge [K] of the i-th word of warmth: frost, cold, cool, neutral, warm, hot. People's sense: a judgement."""
    if i == 0:
        return 272.9
    if i == 1:
        return min(285.5, ambient - 8.0)
    if i == 2:
        return ambient - 3.0
    if i == 3:
        return ambient + 4.0
    return max(317.0, ambient + 9.0)


@njit(cache=True)
def log_word(kind: int, place: int, word: int, out: np.ndarray) -> float:
    """Log probability of a word of what hands or eyes reported, given the circuit's outputs."""
    if kind == FELT:
        if word == 6:  # a cold spot: frost or a step in temperature just behind a narrow place
            return math.log(0.02 + 0.75 * _below((out[points.COLD_SPOT] - 7.0) / 3.0))
        t = out[place]
        ambient = out[points.AMBIENT]
        upper = 1.0 if word == 5 else _below((_felt_edge(word, ambient) - t) / 3.5)
        lower = 0.0 if word == 0 else _below((_felt_edge(word - 1, ambient) - t) / 3.5)
        return math.log(MISTAKE / 6.0 + (1.0 - MISTAKE) * max(upper - lower, 0.0))
    v = out[place]
    if kind == AIRFLOW:
        none = _below((0.12 - v) / 0.06)
        weak = _below((0.62 - v) / 0.13)
        p = none if word == 0 else (weak - none if word == 1 else 1.0 - weak)
        return math.log(AIRFLOW_MISTAKE / 3.0 + (1.0 - AIRFLOW_MISTAKE) * max(p, 0.0))
    if kind == SIGHT_GLASS:
        streaks = 0.03 + 0.35 * _below((out[points.OIL] - 0.08) / 0.02)
        if word == 3:
            return math.log(streaks)
        flashing = _below((v - 0.01) / 0.01)
        p = 0.70 * (1.0 - flashing) + 0.05 * flashing
        if word == 1:  # with R-134a a glass may show some at the right charge (common practice, no source)
            p = 0.22 + 0.50 * flashing
        elif word == 2:
            p = 0.04 + 0.15 * flashing
        elif word == 4:
            p = 0.04
        return math.log(p * (1.0 - streaks))
    if kind == FAN:
        stopped = 0.03 + 0.85 * _below((0.35 - v) / 0.08)
        return math.log(stopped if word == 0 else 1.0 - stopped)
    off = _below((0.06 - v) / 0.03)
    steady = _below((v - 0.93) / 0.03)
    p = off if word == 0 else (steady if word == 2 else max(1.0 - off - steady, 0.0))
    return math.log(MISTAKE / 3.0 + (1.0 - MISTAKE) * p)


@njit(cache=True)
def log_likelihood(e: Evidence, out: np.ndarray) -> float:
    """Log likelihood of the whole sheet, given the circuit's outputs."""
    total = 0.0
    for k in range(e.value.shape[0]):
        z = (e.value[k] - predict_reading(e, k, out)) / e.sigma[k]
        total += log_t(z) - math.log(e.sigma[k])
    for m in range(e.word.shape[0]):
        total += log_word(e.word_kind[m], e.word_place[m], e.word[m], out)
    return total


_T_CONSTANT = math.lgamma(0.5 * (TAILS + 1.0)) - math.lgamma(0.5 * TAILS) - 0.5 * math.log(math.pi * (TAILS - 2.0))


@njit(cache=True)
def log_t(z: float) -> float:
    """Log density of Student's t with `TAILS` degrees of freedom scaled to unit variance."""
    return _T_CONSTANT - 0.5 * (TAILS + 1.0) * math.log1p(z * z / (TAILS - 2.0))
