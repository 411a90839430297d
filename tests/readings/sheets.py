"""Sheets for the tests: a whole one, and small changes to it."""

from __future__ import annotations

import copy
from typing import Any

WHOLE: dict[str, Any] = {
    "schema": 1,
    "id": "bay 2, Tuesday",
    "vehicle": {
        "refrigerant": "R134a",
        "expansion": "thermostatic",
        "storage": "receiver",
        "compressor": "fixed",
        "charge_g": 620,
        "high_port": "discharge_line",
        "label": "small hatchback",
        "displacement_cm3": None,
    },
    "weather": {"air_temperature_c": 31.0, "relative_humidity_pct": 45, "altitude_m": 250},
    "test": {"compressor_speed_rpm": 1800, "blower": "high", "air": "fresh", "minutes_running": 5},
    "readings": [
        {
            "phase": "running",
            "point": "low_side",
            "quantity": "pressure",
            "value": 207,
            "unit": "kPa",
            "reference": "gauge",
            "statistic": "mean",
            "instrument": "optional name",
            "accuracy": {"kind": "of_span_pct", "value": 1.5, "span": 1400, "unit": "kPa"},
            "time_s": None,
        },
        {"phase": "running", "point": "high_side", "quantity": "pressure", "value": "200 psi"},
        {"phase": "running", "point": "vent_center", "quantity": "temperature", "value": "41 °F"},
    ],
    "observations": [
        {"phase": "running", "point": "drier_outlet", "kind": "felt", "value": "hot"},
        {"phase": "running", "point": "vent_center", "kind": "airflow", "value": "normal"},
        {"phase": "running", "point": "sight_glass", "kind": "seen", "value": "clear"},
        {"phase": "running", "point": "condenser_fan", "kind": "seen", "value": "running"},
        {"phase": "running", "point": "clutch", "kind": "seen", "value": "cycling"},
    ],
}


def whole() -> dict[str, Any]:
    """Return a copy of the whole sheet to change."""
    return copy.deepcopy(WHOLE)


def reading(
    point: str, value: object, phase: str = "running", quantity: str | None = None, **more: object
) -> dict[str, Any]:
    """Return one reading; pressures at the ports, temperatures elsewhere."""
    known = quantity or ("pressure" if point in ("low_side", "high_side") else "temperature")
    return {"phase": phase, "point": point, "quantity": known, "value": value, **more}


def sheet(*readings: dict[str, Any], air: object = 31, refrigerant: str = "R134a", **weather: object) -> dict[str, Any]:
    """Return a small sheet around some readings."""
    return {
        "vehicle": {"refrigerant": refrigerant},
        "weather": {"air_temperature_c": air, **weather},
        "readings": list(readings),
    }
