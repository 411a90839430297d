"""From a solved vehicle to what a person would have written: instruments with their errors, hands, eyes, gaps."""

from typing import Any, NamedTuple

import numpy as np

from .cars import Day, Vehicle
from .cycling import Running, cooling_share
from .faults import Bent
from .loop import Car, State
from .properties import T, sat

PIPES = (
    "compressor_suction", "compressor_discharge", "condenser_inlet", "condenser_outlet", "drier_outlet",
    "expansion_inlet", "evaporator_inlet", "evaporator_outlet",
)  # fmt: skip
FEELS = ((-1.0, "frost"), (11.0, "cold"), (21.0, "cool"), (32.0, "neutral"), (43.0, "warm"))


def pipe_points(v: Vehicle) -> tuple[str, ...]:
    """Points that exist: an orifice system has its drier in the accumulator, so none in the liquid line."""
    return tuple(p for p in PIPES if p != "drier_outlet" or v.expansion == "thermostatic")


class Kit(NamedTuple):
    """One person's instruments: fixed biases (Pa, K), reading noise, and the units they write in."""

    low_bias: float
    high_bias: float
    low_noise: float
    high_noise: float
    low_sigma: float
    high_sigma: float
    air_bias: float
    pipe_bias: float
    pipe_contact: float  # share of the gap to the surrounding air that a clamp-on probe shows
    imperial: bool
    dial: bool
    states_accuracy: bool


def draw_kit(rng: np.random.Generator) -> Kit:
    """A dial manifold (class 1.0 or 1.6) or a digital one (0.5 % of span); thermocouples; contact of the clamp."""
    dial = bool(rng.random() < 0.55)
    grade = rng.choice([0.010, 0.016]) if dial else 0.005
    low_sigma, high_sigma = 0.6 * grade * 1.2e6, 0.6 * grade * 3.5e6
    return Kit(
        float(rng.normal(0, low_sigma)), float(rng.normal(0, high_sigma)), 4e3 if dial else 1e3, 15e3 if dial else 4e3,
        low_sigma, high_sigma, float(rng.normal(0, 0.6)), float(rng.normal(0, 0.9)), float(rng.uniform(0.01, 0.10)),
        bool(rng.random() < 0.5), dial, bool(rng.random() < 0.5),
    )  # fmt: skip


class Writer:
    """Collects readings and observations in the units of the kit."""

    def __init__(self, rng: np.random.Generator, kit: Kit, p_atm: float) -> None:
        self.rng, self.kit, self.p_atm = rng, kit, p_atm
        self.readings: list[dict[str, Any]] = []
        self.observations: list[dict[str, Any]] = []

    def pressure(self, phase: str, point: str, p: float, offset: float, statistic: str = "mean") -> None:
        k, low = self.kit, point == "low_side"
        bias, noise = (k.low_bias, k.low_noise) if low else (k.high_bias, k.high_noise)
        gauge = p - self.p_atm + bias + offset + self.rng.normal(0.0, noise)
        gauge = max(gauge, -0.98 * self.p_atm)
        unit, size = ("psi", 6894.757) if k.imperial else ("kPa", 1e3)
        grain = (
            ((1.0 if low else 5.0) if k.imperial else (5.0 if low else 25.0))
            if k.dial
            else (0.5 if k.imperial else 1.0)
        )
        value = round(round(gauge / size / grain) * grain, 1)
        entry = {
            "phase": phase, "point": point, "quantity": "pressure", "value": value,
            "unit": unit, "reference": "gauge",
        }  # fmt: skip
        if statistic != "mean":
            entry["statistic"] = statistic
        if k.states_accuracy:
            sigma = k.low_sigma if low else k.high_sigma
            entry["accuracy"] = self._accuracy(sigma, 1.2e6 if low else 3.5e6, size, unit)
        self.readings.append(entry)

    def _accuracy(self, sigma: float, span: float, size: float, unit: str) -> dict[str, Any]:
        if self.kit.dial:
            return {
                "kind": "of_span_pct", "value": round(100 * sigma / 0.6 / span, 2), "span": round(span / size),
                "unit": unit,
            }  # fmt: skip
        return {"kind": "one_sigma", "value": round(sigma / size, 2), "unit": unit}

    def temperature(self, phase: str, point: str, t_kelvin: float, bias: float, noise: float, sigma: float) -> None:
        celsius = t_kelvin - 273.15 + bias + self.rng.normal(0.0, noise)
        imperial = self.kit.imperial
        value, unit = (celsius * 1.8 + 32.0, "°F") if imperial else (celsius, "°C")
        grain = 1.0 if imperial else (0.5 if self.kit.dial else 0.1)
        entry = {
            "phase": phase, "point": point, "quantity": "temperature", "value": round(round(value / grain) * grain, 1),
            "unit": unit,
        }  # fmt: skip
        if self.kit.states_accuracy:
            size = 1.8 if imperial else 1.0
            kind, factor = ("limit", 2.0) if self.kit.dial else ("one_sigma", 1.0)
            entry["accuracy"] = {"kind": kind, "value": round(sigma * factor * size, 2), "unit": unit}
        self.readings.append(entry)

    def see(self, point: str, kind: str, value: str) -> None:
        self.observations.append({"phase": "running", "point": point, "kind": kind, "value": value})


def pipe_temperatures(f: Any, s: State, run: Running, c: Car) -> dict[str, float]:
    """Refrigerant temperatures at the pipe points; in cycling the cold ones follow the coil, the warm ones the head."""
    share = cooling_share(c, s, run.t_air)
    inlet, outlet = (c.t_evap_air - share * (c.t_evap_air - t) for t in (s.t_evap_in, s.t_evap_out))
    high = sat(f, run.high[0], T) - sat(f, s.pd, T) if run.cycling else 0.0
    hot = run.t_discharge - (1.0 - run.duty) * 0.35 * (run.t_discharge - c.t_bay)
    return {
        "compressor_suction": outlet + s.t_suction - s.t_evap_out, "compressor_discharge": hot,
        "condenser_inlet": s.t_cond_in + hot - s.t_discharge,
        "condenser_outlet": max(s.t_cond_out + high, c.t_cond_air),
        "drier_outlet": max(s.t_drier_out + high, inlet),
        "expansion_inlet": max(s.t_x + high, inlet), "evaporator_inlet": inlet,
        "evaporator_outlet": outlet,
    }  # fmt: skip


def idle_pipe_temperatures(c: Car, rng: np.random.Generator) -> dict[str, float]:
    """Nothing flows: every pipe drifts between outside air, engine bay and blower air."""
    bay, cool = 0.35 * (c.t_bay - c.t_cond_air), 0.5 * (c.t_evap_air + c.t_cond_air)
    warm = {"compressor_suction": 0.8, "compressor_discharge": 1.0, "condenser_inlet": 0.4, "condenser_outlet": 0.1,
            "drier_outlet": 0.15, "expansion_inlet": 0.2}  # fmt: skip
    out = {p: c.t_cond_air + warm.get(p, 0.0) * bay + rng.normal(0, 0.7) for p in PIPES}
    return out | {"evaporator_inlet": cool, "evaporator_outlet": cool}


def _felt(celsius: float, rng: np.random.Generator) -> str:
    t = celsius + rng.normal(0.0, 3.0)
    return next((word for limit, word in FEELS if t < limit), "hot")


def observe(
    w: Writer, fault: str, bent: Bent, v: Vehicle, d: Day, s: State | None, run: Running | None,
    surface: dict[str, float],
) -> None:  # fmt: skip
    """What hands and eyes report, with their mistakes."""
    rng = w.rng
    for point in rng.choice(pipe_points(v), size=int(rng.integers(1, 5)), replace=False):
        w.see(str(point), "felt", _felt(surface[str(point)] - 273.15, rng))
    share = bent.value if fault == "evaporator_airflow_loss" and bent.value else 1.0
    if rng.random() < 0.6:
        weak = rng.random() < (0.85 if share < 0.4 else 0.6 if share < 0.65 else 0.08 if d.blower == "high" else 0.15)
        w.see("vent_center", "airflow", "weak" if weak else "normal")
    if rng.random() < 0.5:
        w.see("condenser_fan", "seen", _fan(rng, fault, bent))
    if run is None:
        w.see("clutch", "seen", "not_engaged")
    elif rng.random() < 0.6:
        w.see("clutch", "seen", "cycling" if run.cycling and rng.random() < 0.93 else "engaged")
    if s is not None and fault == "high_side_restriction" and rng.random() < 0.6 and s.t_cond_out - s.t_x > 4.0:
        spot = "drier_outlet" if v.expansion == "thermostatic" else "expansion_inlet"
        w.see(spot, "felt", "cold_spot" if s.t_x < s.t_cond_out - 8.0 else "cool")


def _fan(rng: np.random.Generator, fault: str, bent: Bent) -> str:
    stopped = fault == "condenser_airflow_loss" and (bent.value or 1.0) < 0.4 and rng.random() < 0.6
    return "stopped" if stopped or rng.random() < 0.02 else "running"


def sight_glass(w: Writer, v: Vehicle, fault: str, s: State | None) -> None:
    """Bubbles when vapour reaches the glass; one look in ten is wrong."""
    if v.expansion != "thermostatic" or s is None or w.rng.random() > 0.45:
        return
    seen = "bubbles" if s.x_valve > 0.002 or (s.x_valve > -0.008 and w.rng.random() < 0.3) else "clear"
    if s.x_valve > 0.08:
        seen = "foam"
    if fault == "excess_oil" and w.rng.random() < 0.4:
        seen = "oil_streaks"
    if fault == "contaminated_refrigerant" and w.rng.random() < 0.08:
        seen = "cloudy"
    if w.rng.random() < 0.1:
        seen = str(w.rng.choice(["clear", "bubbles"]))
    w.see("sight_glass", "seen", seen)


def vehicle_card(rng: np.random.Generator, v: Vehicle, d: Day, speed: float) -> dict[str, Any]:
    """Label, weather and test blocks; in a third of the sheets some of it was not written down."""
    charge = round(v.design.charge * 1e3 * float(np.exp(rng.normal(0.0, 0.02))) / 5.0) * 5
    displacement = None
    if rng.random() < 0.4:
        displacement = round(v.design.displacement * 1e6 * float(np.exp(rng.normal(0.0, 0.03))), 1)
    vehicle = {
        "refrigerant": v.refrigerant, "expansion": v.expansion,
        "storage": "accumulator" if v.expansion == "orifice" else "receiver", "compressor": v.kind, "charge_g": charge,
        "high_port": v.high_port, "label": v.label, "displacement_cm3": displacement,
    }  # fmt: skip
    weather = {
        "air_temperature_c": round(d.t_air - 273.15 + rng.normal(0.0, 0.6), 1),
        "relative_humidity_pct": int(np.clip(round(100 * d.relative_humidity + rng.normal(0.0, 4.0)), 5, 100)),
        "altitude_m": round(d.altitude / 10) * 10,
    }
    test = {
        "compressor_speed_rpm": round(speed * 60 * float(np.exp(rng.normal(0.0, 0.03))) / 10) * 10, "blower": d.blower,
        "air": d.air, "minutes_running": d.minutes,
    }  # fmt: skip
    if v.kind == "electric" and rng.random() < 0.5:
        test["compressor_speed_rpm"] = None
    if rng.random() < 1 / 3:
        for block, key in ((vehicle, "charge_g"), (vehicle, "high_port"), (vehicle, "storage"),
                           (test, "compressor_speed_rpm"),
                           (weather, "relative_humidity_pct"), (test, "blower"), (weather, "altitude_m"),
                           (test, "air")):  # fmt: skip
            if rng.random() < 0.25:
                block[key] = None
    return {"vehicle": vehicle, "weather": weather, "test": test}
