"""A judgement made by hand, so that the faces can be tried without the engine; none of its numbers is a result."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from loopwright.diagnosis.judgement import (
    Cause,
    Expected,
    Fit,
    Interval,
    Judgement,
    NextCheck,
    PlanePoint,
    Severity,
    Speaks,
)

ATMOSPHERE = 98358.0  # Pa, at 250 m
ZERO_CELSIUS = 273.15

SHEET: dict[str, Any] = {
    "schema": 1,
    "id": "by hand",
    "vehicle": {
        "refrigerant": "R134a",
        "expansion": "thermostatic",
        "compressor": "fixed",
        "charge_g": 620,
        "label": "Delivery van",
    },
    "weather": {"air_temperature_c": 31.0, "relative_humidity_pct": 45, "altitude_m": 250},
    "readings": [
        {"phase": "standing", "point": "low_side", "quantity": "pressure", "value": "85 psi"},
        {"phase": "running", "point": "low_side", "quantity": "pressure", "value": "17 psi"},
        {"phase": "running", "point": "high_side", "quantity": "pressure", "value": 142, "unit": "psi"},
        {"phase": "running", "point": "vent_center", "quantity": "temperature", "value": 61, "unit": "°F"},
    ],
}


def gauge(kilopascal: float) -> float:
    """Absolute pressure [Pa] of a gauge pressure [kPa]."""
    return kilopascal * 1e3 + ATMOSPHERE


def _band(point: str, low: float, median: float, high: float, measured: float | None = None, **more: Any) -> Expected:
    quantity, unit, to_si = ("pressure", "Pa", gauge) if point.endswith("side") else ("temperature", "K", _kelvin)
    return Expected(
        more.pop("phase", "running"),
        point,
        quantity,
        unit,
        Interval(to_si(low), to_si(median), to_si(high)),
        None if measured is None else to_si(measured),
        **more,
    )


def _kelvin(celsius: float) -> float:
    return celsius + ZERO_CELSIUS


def _corners(*corners: tuple[str, float, float]) -> tuple[PlanePoint, ...]:
    return tuple(PlanePoint(*corner) for corner in corners)


MEASURED = _corners(
    ("compressor_suction", 200e3, 415.5e3),
    ("compressor_discharge", 1080e3, 478.0e3),
    ("condenser_outlet", 1050e3, 263.1e3),
    ("expansion_inlet", 1030e3, 263.1e3),
    ("evaporator_inlet", 235e3, 263.1e3),
    ("evaporator_outlet", 215e3, 408.3e3),
)
HEALTHY = _corners(
    ("compressor_suction", 285e3, 411.8e3),
    ("compressor_discharge", 1450e3, 465.9e3),
    ("condenser_outlet", 1420e3, 268.5e3),
    ("expansion_inlet", 1400e3, 268.5e3),
    ("evaporator_inlet", 320e3, 268.5e3),
    ("evaporator_outlet", 300e3, 404.4e3),
)


def _spread(cycle: tuple[PlanePoint, ...], count: int = 24) -> tuple[tuple[PlanePoint, ...], ...]:
    """Cycles around one, on a fixed lattice: low and high side and superheat moved apart from each other."""
    moves = [((i * 0.618) % 1 - 0.5, (i * 0.414) % 1 - 0.5, (i * 0.732) % 1 - 0.5) for i in range(1, count + 1)]
    return tuple(
        tuple(
            PlanePoint(
                corner.name,
                corner.pressure * (1 + (0.24 * high if corner.pressure > 700e3 else 0.28 * low)),
                corner.enthalpy + (12e3 * warm if corner.enthalpy > 350e3 else 14e3 * high),
            )
            for corner in cycle
        )
        for low, high, warm in moves
    )


SHORT = Judgement(
    id="by hand",
    engine="0.1.0",
    seed=0,
    seconds=0.21,
    verdict="does_not_perform",
    reasons=(
        "The centre vent is 7 K warmer than the warmest that a healthy vehicle of this kind shows in this weather.",
        "Cooling capacity is 2.6 kW (2.1 to 3.1) where 4.4 kW (3.8 to 5.0) is to be expected.",
    ),
    settled=True,
    settled_why="Readings were taken after 5 minutes of running and agree with a steady state.",
    causes=(
        Cause(
            "undercharge",
            0.78,
            Severity("charge_fraction", "1", Interval(0.48, 0.56, 0.66)),
            (
                Speaks("evaporator_outlet", "running", 3.4, "The evaporator outlet is far warmer than its inlet."),
                Speaks("high_side", "running", 1.6, "Both pressures are low while the compressor runs."),
            ),
            (Speaks("low_side", "standing", -0.2, "Standing pressure shows that liquid is present, not how much."),),
        ),
        Cause(
            "expansion_restricted",
            0.10,
            Severity("area_fraction", "1", Interval(0.28, 0.41, 0.6)),
            alike=("high_side_restriction",),
        ),
        Cause(
            "high_side_restriction",
            0.08,
            Severity("area_fraction", "1", Interval(0.02, 0.04, 0.09)),
            alike=("expansion_restricted",),
        ),
        Cause("compressor_worn", 0.02, Severity("flow_fraction", "1", Interval(0.5, 0.7, 0.85))),
        Cause("healthy", 0.02, None),
    ),
    states={
        "evaporating_temperature": Interval(262.5, 264.9, 267.0),
        "condensing_temperature": Interval(313.0, 315.4, 318.0),
        "superheat": Interval(11.0, 16.0, 22.0),
        "subcooling": Interval(0.0, 0.6, 2.1),
        "cooling_capacity": Interval(2100.0, 2600.0, 3100.0),
        "charge": Interval(0.298, 0.347, 0.409),
    },
    expected=(
        _band(
            "low_side",
            560,
            600,
            640,
            586,
            phase="standing",
            rule="About the saturation pressure of the air temperature.",
        ),
        _band("high_side", 560, 600, 640, phase="standing"),
        _band("low_side", 165, 197, 241, 117),
        _band("high_side", 1130, 1340, 1560, 979, rule="In psi about two to three times the air temperature in °F."),
        _band("vent_center", 6.0, 8.1, 10.9, 16.1),
        _band("condenser_outlet", 40.0, 46.0, 52.0),
        _band("evaporator_inlet", 2.0, 4.5, 8.0),
        _band("evaporator_outlet", 5.0, 8.0, 13.0, 9.5),
    ),
    next_checks=(
        NextCheck(
            "Read the condenser outlet pipe",
            "condenser_outlet",
            2,
            0.71,
            ("undercharge", "high_side_restriction"),
            "Clamp the probe on bare metal where the pipe leaves the condenser. Wait a minute.",
            "Keep hands and leads clear of fan and belts; an electric fan may start by itself.",
        ),
        NextCheck(
            "Recover and weigh the charge",
            "system",
            35,
            1.4,
            ("undercharge", "compressor_worn"),
            "Recover with certified equipment. Read the mass on the scale. Compare it with the label.",
            "Gloves and goggles: escaping refrigerant freezes skin. Never vent it.",
        ),
        NextCheck(
            "Feel the drier outlet pipe",
            "drier_outlet",
            1,
            0.2,
            ("high_side_restriction",),
            "Touch it briefly.",
            "It may be hot.",
        ),
    ),
    fit=Fit(850.0, {"undercharge": -21.3, "healthy": -25.0}, 0.41),
    cautions=("Never top up by pressure: recover, repair the leak, weigh in the charge on the label.",),
    ambient_pressure=ATMOSPHERE,
    refrigerant="R134a",
    cycle=MEASURED,
    healthy_cycle=HEALTHY,
    healthy_cycles=_spread(HEALTHY),
    warnings=("readings[2].value: 142 psi is low for 31 °C air.",),
)

PERFORMS = replace(
    SHORT,
    verdict="performs",
    reasons=("Vent temperature and both pressures lie where this vehicle should have them in this weather.",),
    causes=(Cause("healthy", 0.93, None), Cause("undercharge", 0.07, None)),
    cycle=HEALTHY,
    cautions=(),
)

CANNOT_SAY = replace(
    SHORT,
    verdict="cannot_say",
    reasons=("No cause explains these readings together: one of them may be wrong.",),
    causes=(),
    states={},
    cycle=(),
    fit=Fit(12.0, {}, 0.0004),
)
