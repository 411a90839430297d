"""Draw vehicles, days and faults, solve them, and write truth and sheet of each."""

from typing import Any

import numpy as np

from .cars import Day, Vehicle, design_day, draw_day, draw_vehicle, on_the_day
from .cycling import Running, must_cycle, simulate, steady
from .faults import FAULTS, Bent, bend, standing_pressure
from .loop import Car, State, follow
from .properties import HV, Fluid, T, load, sat
from .sheet import (
    PIPES,
    Writer,
    draw_kit,
    idle_pipe_temperatures,
    observe,
    pipe_points,
    pipe_temperatures,
    sight_glass,
    vehicle_card,
)

LOCK_OUT = 1.9e5  # Pa gauge on the high side: below it the low-charge switch keeps the compressor out (common practice)


def high_port_pressure(v: Vehicle, s: State) -> float:
    if v.high_port == "discharge_line":
        return s.pd
    return s.p_m if v.port_first else s.p_x


def run_loop(f: Fluid, v: Vehicle, c: Car, s: State) -> Running:
    port = high_port_pressure(v, s)
    return simulate(f, v, c, s, port) if must_cycle(v, c, s) else steady(s, port)


def healthy_day(rng: np.random.Generator, want: str) -> tuple[Vehicle, Day, Car, Fluid, State, np.ndarray, Running]:
    """A vehicle that works, on a day on which it can be solved; the small scatter of charge is part of health."""
    while True:
        v = draw_vehicle(rng, want)
        d = draw_day(rng, v)
        c = on_the_day(v, d)
        c = c._replace(charge=c.charge * float(np.clip(rng.normal(1.0, 0.02), 0.95, 1.05)))
        f = load(v.refrigerant)
        s, u, norm = follow(f, design_day(v.design), v.design_unknowns, c)
        if norm < 1e-6:
            return v, d, c, f, s, u, run_loop(f, v, c, s)


def solve_faulty(v: Vehicle, c: Car, u: np.ndarray, bent: Bent) -> tuple[State, float]:
    """Running state with the fault.

    Where the pressure would pass the property table (and the cut-out) the compressor is slowed until it does not: the
    clutch then cycles on high pressure between its switch points, so only the pace of the climb is understated.
    """
    u = u.copy()
    u[2] += (sat(bent.fluid, np.exp(u[1]), HV) - sat(load(v.refrigerant), np.exp(u[1]), HV)) / 1e5  # other zero of h
    s, _, norm = follow(bent.fluid, c, u, bent.car)
    for slower in (0.75, 0.55, 0.4, 0.3):
        if norm < 1e-6 or v.kind == "electric":
            break
        s, _, norm = follow(bent.fluid, c, u, bent.car._replace(speed=c.speed * slower))
        if norm < 1e-6 and s.pd - c.p_atm < v.high_open:
            norm = 1.0  # not a case of the cut-out: do not pass it off as one
    return s, norm


def make(rng: np.random.Generator, fault: str, name: str, misses: dict[str, int]) -> dict[str, Any]:
    """One record; a faulty state that cannot be solved is counted in `misses` and drawn again."""
    while True:
        v, d, c, f, s, u, run = healthy_day(rng, "variable" if fault == "compressor_low_stroke" else "")
        bent = bend(rng, fault, v, c, f, s, float(u[2]) * 1e5)
        standing = standing_pressure(bent.fluid, bent.car, d.t_soak, bent.standing_gas)
        out = fault == "compressor_not_driven" or standing - c.p_atm < LOCK_OUT
        if out:
            return record(rng, name, fault, v, d, bent, standing, run, None, None)
        if bent.car == c and bent.fluid is f:
            return record(rng, name, fault, v, d, bent, standing, run, s, run)
        s2, norm = solve_faulty(v, c, u, bent)
        if norm < 1e-6:
            faulty = run_loop(bent.fluid, v, bent.car, s2)
            return record(rng, name, fault, v, d, bent, standing, run, s2, faulty)
        misses[fault] = misses.get(fault, 0) + 1


def record(
    rng: np.random.Generator, name: str, fault: str, v: Vehicle, d: Day, bent: Bent, standing: float, healthy: Running,
    s: State | None, run: Running | None,
) -> dict[str, Any]:  # fmt: skip
    """Truth and sheet; without a running state (`s` None) both sides stay equalised."""
    c, f = bent.car, bent.fluid
    kit = draw_kit(rng)
    w = Writer(rng, kit, c.p_atm)
    offsets = {"low_side": 0.0, "high_side": 0.0}
    if bent.point in offsets:
        offsets[bent.point] = bent.offset
    for point, offset in offsets.items():
        w.pressure("standing", point, standing, offset)
    _running_pressures(w, c, f, standing, s, run, offsets, rng)
    t_air = run.t_air if run else c.t_evap_air
    pipes = pipe_temperatures(f, s, run, c) if s and run else idle_pipe_temperatures(c, rng)
    t_vent = _air(w, v, d, c, bent, t_air)
    surface = {}
    for p in PIPES:
        around = c.t_cond_air if p.startswith("condenser") else c.t_evap_air if p.startswith("evap") else c.t_bay
        surface[p] = pipes[p] + kit.pipe_contact * (around - pipes[p])
        if p in pipe_points(v):
            w.temperature("running", p, surface[p], kit.pipe_bias, 0.5, 1.2)
    observe(w, fault, bent, v, d, s, run, surface)
    sight_glass(w, v, fault, s)
    blocks = vehicle_card(rng, v, d, s.speed if s else c.speed)
    sheet = {"schema": 1, "id": name, **blocks, "readings": w.readings, "observations": w.observations}
    vents = {
        "vent_c": round(t_vent - 273.15, 2),
        "vent_healthy_c": round(healthy.t_air + v.duct_gain - 273.15, 2),
    }
    return {"truth": truth(fault, bent, healthy, s, run) | vents, "sheet": sheet}


def _running_pressures(
    w: Writer, c: Car, f: Fluid, standing: float, s: State | None, run: Running | None, offsets: dict[str, float],
    rng: np.random.Generator,
) -> None:  # fmt: skip
    if run is None:
        warmed = standing * (1.0 + 0.012 * rng.uniform(0.0, 3.0))
        for point, offset in offsets.items():
            w.pressure("running", point, warmed * (1.0 + rng.normal(0.0, 0.004)), offset)
        return
    for point, values in (("low_side", run.low), ("high_side", run.high)):
        w.pressure("running", point, values[0], offsets[point])
        if run.cycling and rng.random() < 0.7:
            w.pressure("running", point, values[1], offsets[point], "minimum")
            w.pressure("running", point, values[2], offsets[point], "maximum")


def _air(w: Writer, v: Vehicle, d: Day, c: Car, bent: Bent, t_air: float) -> float:
    """Write the air readings; returns the true temperature at the vent (K)."""
    k, rng = w.kit, w.rng
    t_vent = t_air + v.duct_gain
    heater = rng.uniform(338.0, 355.0)
    t_vent += bent.heater_share * (heater - t_vent)
    w.temperature("running", "vent_center", t_vent, k.air_bias, 0.3, 0.7)
    if rng.random() < 0.25:
        for point in ("vent_left", "vent_right"):
            w.temperature("running", point, t_vent + rng.normal(0.5, 0.8), k.air_bias, 0.3, 0.7)
    seen = d.t_air + 0.75 * (c.t_cond_air - d.t_air)  # a probe at the grille sees most of the recirculation, not all
    w.temperature("running", "condenser_air_in", seen, k.air_bias, 0.8, 1.0)
    if rng.random() < 0.6:
        w.temperature("running", "cabin_air_in", d.t_cabin, k.air_bias, 0.5, 0.8)
    return float(t_vent)


def truth(fault: str, bent: Bent, healthy: Running, s: State | None, run: Running | None) -> dict[str, Any]:
    """What the simulator knows; superheat and subcooling with the clutch held in, null when not driven."""
    capacity = run.capacity if run else 0.0
    answer: dict[str, Any] = {
        "fault": fault, "severity": _severity(bent), "capacity_ratio": round(capacity / healthy.capacity, 4),
        "cooling_capacity_w": round(capacity, 1), "superheat_k": None, "subcooling_k": None,
        "charge_g": round(bent.car.charge * 1e3, 1),
    }  # fmt: skip
    if s and run:
        f = bent.fluid
        answer |= {
            "superheat_k": round(s.superheat, 2), "subcooling_k": round(s.subcooling, 2),
            "evaporating_temperature_c": round(sat(f, run.low[0], T) - 273.15, 2),
            "condensing_temperature_c": round(sat(f, run.high[0], T) - 273.15, 2), "duty": round(run.duty, 3),
        }  # fmt: skip
    return answer


def _severity(bent: Bent) -> dict[str, Any]:
    out: dict[str, Any] = {"quantity": bent.quantity, "value": None if bent.value is None else round(bent.value, 4)}
    if bent.point:
        out["point"] = bent.point
    if bent.note:
        out["with"] = bent.note
    return out


def schedule(rng: np.random.Generator, count: int) -> list[str]:
    """35 % healthy, the rest evenly over the faults, shuffled."""
    healthy = round(0.35 * count)
    names = ["healthy"] * healthy + [FAULTS[i % len(FAULTS)] for i in range(count - healthy)]
    rng.shuffle(names)
    return names


def population(seed: int, count: int) -> tuple[list[dict[str, Any]], dict[str, int]]:
    """`count` records and how many faulty states could not be solved, by fault."""
    rng, misses = np.random.default_rng(seed), {}
    names = schedule(rng, count)
    return [make(rng, fault, f"other-{seed}-{i:04d}", misses) for i, fault in enumerate(names)], misses
