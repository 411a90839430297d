"""The population: vehicles drawn from wide, correlated distributions, each with a design day that sets its charge.

Ranges are judgement (common practice, no source) guided by published charges and dimensions of small and large systems.
"""

from typing import NamedTuple

import numpy as np

from .loop import Car, State, solve
from .properties import Fluid, load
from .transfer import humidity_ratio_saturated

ORIFICE_BORES = (1.19, 1.35, 1.45, 1.57, 1.70, 1.83, 1.98)  # mm, catalogue sizes (common practice, no source)


class Vehicle(NamedTuple):
    """A designed vehicle."""

    refrigerant: str
    kind: str  # fixed, variable, electric
    expansion: str
    label: str
    high_port: str
    design: Car
    design_unknowns: np.ndarray
    port_first: bool  # a liquid-line port sits ahead of whatever blocks the line beyond the drier
    rpm_ratio: float  # compressor to crank
    mechanical_fan: bool
    recirculation: float  # K of hot air back to the condenser at idle
    duct_gain: float  # K
    switch_open: float  # clutch: Pa gauge of low side, or K of fin
    switch_close: float
    high_open: float  # Pa gauge
    high_close: float
    fan_heat: float  # K over the blower
    heat_soak: float  # K of the engine bay over outside air
    clutch_times: tuple[float, float, float, float]  # s low side, s high side, J/K coil, s equalising


class Day(NamedTuple):
    """Weather and the way the test is run."""

    t_air: float  # K
    relative_humidity: float
    altitude: float
    engine_rpm: float
    blower: str
    air: str
    minutes: int
    t_cabin: float
    w_cabin: float
    t_soak: float
    unsettled: float  # K of condenser air above the draw, bonnet effects


BLOWER_SHARE = {"low": 0.45, "medium": 0.7, "high": 1.0}


def atmosphere(altitude: float) -> float:
    """ISO 2533 pressure, Pa."""
    return 101325.0 * (1.0 - 2.25577e-5 * altitude) ** 5.25588


def spread(rng: np.random.Generator, sigma: float) -> float:
    return float(np.exp(np.clip(rng.normal(0.0, sigma), -2.5 * sigma, 2.5 * sigma)))


def _compressor(rng: np.random.Generator, kind: str, size: float) -> dict[str, float]:
    if kind == "electric":
        return {
            "kind": 2.0, "displacement": float(np.clip(33e-6 * size * spread(rng, 0.1), 24e-6, 48e-6)),
            "speed": rng.uniform(75, 125), "speed_min": rng.uniform(13, 20), "clearance": 0.01, "filling_loss": 0.015,
            "valve_loss": 0.0025, "torque": rng.uniform(0.12, 0.3), "leak_area": rng.uniform(0.8e-7, 2.5e-7) * size,
            "eta_indicated": rng.uniform(0.74, 0.86), "t_set": 273.15 + rng.uniform(0.5, 4.0),
        }  # fmt: skip
    limits = (90e-6, 210e-6) if kind == "fixed" else (115e-6, 185e-6)
    return {
        "kind": 1.0 if kind == "variable" else 0.0,
        "displacement": float(np.clip(156e-6 * size * spread(rng, 0.14), *limits)),
        "clearance": rng.uniform(0.025, 0.06), "filling_loss": rng.uniform(0.05, 0.13),
        "valve_loss": rng.uniform(0.015, 0.05), "torque": rng.uniform(0.6, 1.8),
        "leak_area": rng.uniform(1e-7, 4.5e-7) * size, "eta_indicated": rng.uniform(0.78, 0.9),
        "p_droop": rng.uniform(0.0, 0.04), "stroke_min": rng.uniform(0.02, 0.06),
    }  # fmt: skip


def _coils(rng: np.random.Generator, size: float) -> dict[str, float]:
    cond, evap = size * spread(rng, 0.14), size**0.8 * spread(rng, 0.13)
    return {
        "cond_face": float(np.clip(0.235 * cond**0.7, 0.15, 0.42)), "cond_area_air": 4.6 * cond,
        "cond_area_ref": 0.78 * cond, "cond_flow": 3.2e-4 * cond * spread(rng, 0.12),
        "cond_volume": 0.6e-3 * cond * spread(rng, 0.2), "cond_velocity": rng.uniform(1.35, 2.6),
        "cond_d": rng.uniform(0.9e-3, 1.4e-3), "evap_face": float(np.clip(0.055 * evap, 0.035, 0.11)),
        "evap_area_air": 3.0 * evap, "evap_area_ref": 0.9 * evap, "evap_flow": 3.4e-4 * evap * spread(rng, 0.15),
        "evap_volume": 0.6e-3 * evap * spread(rng, 0.2), "evap_d": rng.uniform(1.5e-3, 2.6e-3),
        "evap_air_volume": 0.122 * evap**0.7 * spread(rng, 0.12),
    }  # fmt: skip


def _lines(rng: np.random.Generator, size: float) -> dict[str, float]:
    long = spread(rng, 0.3) * (1.5 if size > 1.25 else 1.0)
    return {
        "line_bore_d": rng.uniform(8.5e-3, 11e-3) * size**0.3, "line_bore_l": rng.uniform(6.2e-3, 8.2e-3) * size**0.3,
        "line_bore_s": rng.uniform(13e-3, 16.5e-3) * size**0.3, "line_length_d": 0.9 * long,
        "line_length_l": 2.2 * long, "line_length_s": 1.4 * long, "ua_d": rng.uniform(0.4, 1.4) * long,
        "ua_l": rng.uniform(0.2, 0.9) * long, "ua_s": rng.uniform(0.5, 2.0) * long,
        "passage": 12.6e-6 * size * spread(rng, 0.15), "suction_passage": 120e-6 * size * spread(rng, 0.15),
        "other_volume": rng.uniform(0.15e-3, 0.4e-3), "oil": rng.uniform(0.015, 0.045),
        "oil_lift": rng.uniform(14.0, 28.0), "dissolved": rng.uniform(0.005, 0.02),
    }  # fmt: skip


def _storage(rng: np.random.Generator, expansion: str, size: float, yf: bool) -> dict[str, float]:
    if expansion == "orifice":
        return {
            "orifice": 1.0, "rec_volume": 0.0, "acc_volume": rng.uniform(0.45e-3, 0.9e-3) * size**0.5,
            "bleed_flow": rng.uniform(1.6e-3, 3.6e-3) * size, "frozen": rng.uniform(0.15, 0.45),
            "contraction": rng.uniform(0.72, 0.85), "oil": rng.uniform(0.02, 0.05),
        }  # fmt: skip
    irc = rng.random() < (0.85 if yf else 0.5)
    return {
        "irc": float(irc), "rec_volume": rng.uniform(0.13e-3, 0.28e-3) * size**0.5 * (0.85 if irc else 1.25),
        "rec_z0": rng.uniform(-0.012, 0.0) if irc else rng.uniform(-0.05, -0.005),
        "rec_width": rng.uniform(0.003, 0.009),
        "spring": rng.uniform(2.4e4, 5.5e4), "spring_range": rng.uniform(3.5e4, 7e4), "bleed": rng.uniform(0.01, 0.05),
    }  # fmt: skip


def _choose(rng: np.random.Generator) -> tuple[str, str, str]:
    kind = str(rng.choice(["fixed", "variable", "electric"], p=[0.46, 0.40, 0.14]))
    orifice = 0.0 if kind == "electric" else (0.60 if kind == "fixed" else 0.38)
    refrigerant = "R1234yf" if rng.random() < (0.6 if kind == "electric" else 0.36) else "R134a"
    return kind, ("orifice" if rng.random() < orifice else "thermostatic"), refrigerant


def _switches(rng: np.random.Generator, expansion: str, yf: bool) -> tuple[float, float]:
    if expansion == "orifice":
        opens = rng.uniform(1.45e5, 1.85e5) + (1.2e4 if yf else 0.0)
        return opens, opens + rng.uniform(1.05e5, 1.55e5)
    opens = 273.15 + rng.uniform(0.0, 3.0)
    return opens, opens + rng.uniform(2.0, 4.0)


def design_day(car: Car) -> Car:
    """35 °C, 40 %, sea level, everything on."""
    return car._replace(t_cond_air=309.5, t_evap_air=308.15, w_evap_air=0.0141, t_bay=345.0, p_atm=101325.0)


def _fit_valve(f: Fluid, rng: np.random.Generator, car: Car) -> tuple[Car, State, np.ndarray] | None:
    """Size the expansion device and find the charge at which receiver or accumulator stands where it should."""
    fill = rng.uniform(0.3, 0.6) if car.orifice > 0.5 else rng.uniform(0.35, 0.65)
    day = design_day(car)
    if car.orifice < 0.5:
        state, u, norm = solve(f, day._replace(charge=-fill, valve_area=1.7e-6 * car.displacement / 150e-6))
        for _ in range(3):
            opening = rng.uniform(0.45, 0.62)
            rho, drop = 1080.0, max(state.p_x - state.p_ei, 2e5)
            area = state.m / (0.72 * opening * np.sqrt(2.0 * rho * drop))
            day = day._replace(valve_area=area)
            state, u, norm = solve(f, day._replace(charge=-fill), u)
        return None if norm > 1e-6 else (car._replace(valve_area=day.valve_area, charge=state.charge), state, u)
    target, best = rng.uniform(3.0, 9.0), None
    for bore in ORIFICE_BORES:
        area = 0.7854e-6 * bore**2
        state, u, norm = solve(f, day._replace(charge=-fill, valve_area=area))
        if norm < 1e-6 and (best is None or abs(state.subcooling - target) < abs(best[1].subcooling - target)):
            best = (car._replace(valve_area=area, charge=state.charge), state, u)
    return best


def draw_vehicle(rng: np.random.Generator, want: str = "") -> Vehicle:
    """One vehicle with believable performance on its design day; draws that fail that are thrown away."""
    while True:
        kind, expansion, refrigerant = _choose(rng)
        if want and kind != want:
            continue
        f, yf = load(refrigerant), refrigerant == "R1234yf"
        size = float(np.clip(spread(rng, 0.24), 0.66, 1.6))
        parts = (
            _compressor(rng, kind, size) | _coils(rng, size) | _lines(rng, size) | _storage(rng, expansion, size, yf)
        )
        car = Car(**(parts if kind == "electric" else parts | {"speed": rng.uniform(28, 36)}))
        car = car._replace(p_set=rng.uniform(2.55e5, 3.05e5) * (1.06 if yf else 1.0))
        if rng.random() < 0.72:
            car = car._replace(fan_low=rng.uniform(0.15, 0.6), fan_switch=rng.uniform(1.1e6, 1.6e6))
        fitted = _fit_valve(f, rng, car)
        if fitted is None or not _believable(fitted[1]):
            continue
        opens, closes = _switches(rng, expansion, yf)
        names = ["small car", "car", "van", "work machine"]
        label = names[int(np.searchsorted([0.85, 1.2, 1.38], size))]
        high_open = rng.uniform(2.75e6, 3.1e6)
        return Vehicle(
            refrigerant, kind, expansion, label, str(rng.choice(["discharge_line", "liquid_line"], p=[0.45, 0.55])),
            fitted[0], fitted[2], bool(rng.random() < 0.5), float(rng.uniform(1.1, 1.5)),
            bool(kind != "electric" and rng.random() < 0.2), float(rng.uniform(0.5, 8.0)), float(rng.uniform(0.2, 2.0)),
            opens, closes, high_open, high_open - rng.uniform(5e5, 8e5), float(rng.uniform(0.3, 1.8)),
            float(rng.uniform(15.0, 45.0)),
            (rng.uniform(2.5, 5.0), rng.uniform(8.0, 16.0), size * rng.uniform(3e3, 6e3),
             rng.uniform(60.0, 110.0) if expansion == "orifice" else rng.uniform(180.0, 400.0)),
        )  # fmt: skip


def _believable(s: State) -> bool:
    """A maker would ship it: 2.6..8.2 kW on the design day, high side and discharge below their limits."""
    return (
        2600 < s.capacity < 8200 and s.pd < 2.35e6 and s.t_discharge < 390.0 and 0.28 < s.charge < 1.6
        and s.t_air_out < 291.5 and s.p_eo - s.ps < 1e5 and s.p_ei < 4.4e5
    )  # fmt: skip


def draw_day(rng: np.random.Generator, car: Vehicle) -> Day:
    """Weather and test conditions; dew point kept under 26 °C."""
    t = 273.15 + float(np.clip(rng.normal(28.0, 7.0), 15.0, 43.0))
    altitude = float(rng.choice([rng.uniform(0, 400), rng.uniform(400, 2000)], p=[0.7, 0.3]))
    p = atmosphere(altitude)
    rh = float(rng.uniform(0.2, 0.9))
    rh = min(rh, humidity_ratio_saturated(299.15, p) / humidity_ratio_saturated(t, p))
    w = rh * humidity_ratio_saturated(t, p)
    rpm = float(
        rng.choice([rng.uniform(700, 1000), rng.uniform(1000, 2000), rng.uniform(2000, 2500)], p=[0.2, 0.65, 0.15])
    )
    blower = str(rng.choice(["low", "medium", "high"], p=[0.08, 0.22, 0.70]))
    air = str(rng.choice(["fresh", "recirculated"], p=[0.5, 0.5]))
    t_in, w_in = t + rng.uniform(0.0, 2.0), w
    if air == "recirculated":
        t_in, w_in = t - rng.uniform(0.5, 8.0), w * rng.uniform(0.6, 1.0)
    w_in = min(w_in, 0.97 * humidity_ratio_saturated(t_in, p))
    soak = t + rng.normal(0.4, 0.9) + max(rng.normal(-1.0, 2.0), 0.0)
    return Day(
        t, rh, altitude, rpm, blower, air, int(rng.integers(3, 15)), t_in, float(w_in), float(soak),
        float(abs(rng.normal(0.0, 1.0))),
    )  # fmt: skip


def on_the_day(v: Vehicle, d: Day) -> Car:
    """The vehicle's loop under that day's air, speed and altitude."""
    idle = float(np.clip((1600.0 - d.engine_rpm) / 900.0, 0.1, 1.0))
    air = v.design.evap_air_volume * BLOWER_SHARE[d.blower]
    car = v.design._replace(
        p_atm=atmosphere(d.altitude), t_cond_air=d.t_air + v.recirculation * idle + d.unsettled,
        t_evap_air=d.t_cabin + v.fan_heat, w_evap_air=d.w_cabin, evap_air_volume=air, t_bay=d.t_air + v.heat_soak,
    )  # fmt: skip
    if v.kind != "electric":
        car = car._replace(speed=d.engine_rpm * v.rpm_ratio / 60.0)
    if v.mechanical_fan:
        car = car._replace(cond_velocity=car.cond_velocity * (d.engine_rpm / 1700.0) ** 0.6, fan_low=1.0)
    return car
