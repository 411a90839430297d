"""The published form of what goes in and out; nothing else knows it.

Inside, values are SI and pressures absolute. Here a judgement becomes the plain tables of the contract: kPa gauge, °C,
%, rpm, grams, rounded to what they are worth.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from loopwright.errors import Problem
from loopwright.language import say, say_many
from loopwright.quantities import from_si
from loopwright.readings.points import table

if TYPE_CHECKING:  # only the shapes are needed here, and the engine behind them is heavy to import
    from loopwright.diagnosis.judgement import (
        Cause,
        Expected,
        Interval,
        Judgement,
        NextCheck,
        PlanePoint,
        Severity,
        Speaks,
    )

__all__ = ["error_to_wire", "schema_in", "schema_out", "to_wire"]

Json = dict[str, Any]

# Name of a state inside, its name outside, how its SI value becomes the published one, decimals worth printing.
_STATES: dict[str, tuple[str, float, float, int]] = {
    "evaporating_temperature": ("evaporating_temperature_c", 1.0, -273.15, 2),
    "condensing_temperature": ("condensing_temperature_c", 1.0, -273.15, 2),
    "superheat": ("superheat_k", 1.0, 0.0, 2),
    "subcooling": ("subcooling_k", 1.0, 0.0, 2),
    "cooling_capacity": ("cooling_capacity_w", 1.0, 0.0, 0),
    "charge": ("charge_g", 1e3, 0.0, 0),
}
_SHARES = 10_000  # probabilities are printed in ten-thousandths
_DECIMALS = {"kPa": 1, "°C": 2, "%": 1, "m/s": 2, "rpm": 0, "V": 2}


def to_wire(judgement: Judgement) -> Json:
    """Return a judgement in its published form.

    Parameters
    ----------
    judgement : frozen values in SI, absolute pressures

    Returns
    -------
    dict : tables, lists, text and finite numbers only; `schema_out` describes it

    Raises
    ------
    ValueError : a number that is not finite where one must be; a fault of ours, never sent out
    """
    j = judgement
    shares = _shares([cause.probability for cause in j.causes])
    return {
        "schema": 1,
        "id": j.id,
        "engine": j.engine,
        "seed": j.seed,
        "seconds": _round(j.seconds, 3),
        "verdict": j.verdict,
        "reasons": list(j.reasons),
        "settled": {"is": j.settled, "why": j.settled_why},
        "causes": [_cause(cause, share) for cause, share in zip(j.causes, shares, strict=True)],
        "states": dict(_state(name, interval) for name, interval in j.states.items()),
        "expected": [_expected(e, j.ambient_pressure) for e in j.expected],
        "next_checks": [_check(check) for check in j.next_checks],
        "fit": {
            "effective_samples": _round(j.fit.effective_samples, 0),
            "log_evidence": {k: _round(v, 2) if math.isfinite(v) else None for k, v in j.fit.log_evidence.items()},
            "misfit_probability": _round(j.fit.misfit_probability, 4),
        },
        "cautions": list(j.cautions),
        "refrigerant": j.refrigerant,
        "ambient_pressure_kpa": _round(j.ambient_pressure / 1e3, 2),
        "cycle": _corners(j.cycle),
        "healthy_cycle": _corners(j.healthy_cycle),
        "sources": list(j.sources),
        "warnings": list(j.warnings),
    }


def error_to_wire(problems: Iterable[Problem], identity: str = "", line: int | None = None) -> Json:
    """Return what is wrong with a sheet as a problem document (RFC 9457), also the error record of a batch.

    >>> error_to_wire([Problem("vehicle", "nothing", "a table", "Missing.", 1)], "bay 2")["errors"][0]["field"]
    'vehicle'
    """
    errors = [
        {"field": p.field, "found": p.found, "allowed": p.allowed, "says": p.says, "line": p.line} for p in problems
    ]
    count = say_many("{n} problem", "{n} problems", len(errors))
    return {
        "type": "urn:loopwright:problem:input",
        "title": say("The test sheet cannot be used."),
        "status": 422,
        "detail": say("{count}; nothing was judged.", count=count),
        "id": identity,
        "line": line,
        "errors": errors,
    }


def schema_in() -> Json:
    """Return the JSON Schema (2020-12) of a test sheet.

    >>> schema_in()["title"]
    'Loopwright test sheet'
    """
    return _stored("sheet")


def schema_out() -> Json:
    """Return the JSON Schema (2020-12) of a judgement.

    >>> schema_out()["title"]
    'Loopwright judgement'
    """
    return _stored("judgement")


def _stored(name: str) -> Json:
    found: Json = json.loads(_text(name))  # parsed anew, so that no caller changes another's copy
    return found


@cache
def _text(name: str) -> str:
    return (files("loopwright.api") / "schema" / f"{name}.json").read_text(encoding="utf-8")


def _round(value: float, decimals: int) -> float | int:
    if not math.isfinite(value):
        raise ValueError(f"a judgement holds {value}")
    return (round(float(value), decimals) + 0.0) if decimals else round(value)


def _figures(value: float, figures: int = 3) -> float | int:
    """Round to significant figures.

    >>> _figures(0.56049), _figures(-34.567), _figures(0.0)
    (0.56, -34.6, 0.0)
    """
    if not math.isfinite(value):
        raise ValueError(f"a judgement holds {value}")
    return float(f"{value:.{figures}g}")


def _shares(probabilities: list[float]) -> list[float]:
    """Round probabilities so that they still add up to one where they did (largest remainder first).

    >>> _shares([1 / 3, 1 / 3, 1 / 3])
    [0.3334, 0.3333, 0.3333]
    """
    scaled = [p * _SHARES for p in probabilities]
    if abs(sum(scaled) - _SHARES) > 0.5:
        return [float(_round(p, 4)) for p in probabilities]
    whole = [math.floor(s) for s in scaled]
    order = sorted(range(len(scaled)), key=lambda i: whole[i] - scaled[i])
    for i in order[: _SHARES - sum(whole)]:
        whole[i] += 1
    return [w / _SHARES for w in whole]


def _interval(interval: Interval, factor: float = 1.0, offset: float = 0.0, decimals: int = 3) -> Json:
    low, median, high = (_round(factor * x + offset, decimals) for x in (interval.low, interval.median, interval.high))
    return {"low": low, "median": median, "high": high, "level": interval.level}


def _severity(severity: Severity | None) -> Json | None:
    if severity is None:
        return None
    i = severity.interval
    point = {} if severity.point is None else {"point": severity.point}
    return {
        "quantity": severity.quantity,
        "unit": severity.unit,
        "low": _figures(i.low),
        "median": _figures(i.median),
        "high": _figures(i.high),
        "level": i.level,
        **point,
    }


def _speaks(speaks: tuple[Speaks, ...]) -> list[Json]:
    return [{"point": s.point, "phase": s.phase, "nats": _round(s.nats, 2), "says": s.says} for s in speaks]


def _cause(cause: Cause, share: float) -> Json:
    return {
        "fault": cause.fault,
        "also": cause.also,
        "probability": share,
        "severity": _severity(cause.severity),
        "for": _speaks(cause.speaks_for),
        "against": _speaks(cause.speaks_against),
        "alike": list(cause.alike),
    }


def _state(name: str, interval: Interval) -> tuple[str, Json]:
    outside, factor, offset, decimals = _STATES[name]
    return outside, _interval(interval, factor, offset, decimals)


def _expected(e: Expected, air: float) -> Json:
    quantity = table().quantities[e.quantity]
    zero = air if e.quantity == "pressure" else 0.0

    def outside(value: float) -> float | int:
        return _round(from_si(value - zero, quantity.kind, quantity.unit), _DECIMALS[quantity.unit])

    return {
        "phase": e.phase,
        "point": e.point,
        "quantity": e.quantity,
        "unit": quantity.unit,
        "reference": "gauge" if e.quantity == "pressure" else None,
        "statistic": e.statistic,
        "low": outside(e.interval.low),
        "median": outside(e.interval.median),
        "high": outside(e.interval.high),
        "level": e.interval.level,
        "measured": None if e.measured is None else outside(e.measured),
        "rule": e.rule,
    }


def _check(check: NextCheck) -> Json:
    return {
        "check": check.check,
        "point": check.point,
        "minutes": _round(check.minutes, 1),
        "information_bits": _round(check.information, 3),
        "splits": list(check.splits),
        "how": check.how,
        "caution": check.caution,
    }


def _corners(cycle: tuple[PlanePoint, ...]) -> list[Json]:
    """Return the corners of a cycle in the pressure-enthalpy plane; pressure absolute here, as the plane has it."""
    return [
        {
            "name": corner.name,
            "pressure_kpa_absolute": _round(corner.pressure / 1e3, 1),
            "enthalpy_kj_per_kg": _round(corner.enthalpy / 1e3, 2),
        }
        for corner in cycle
    ]
