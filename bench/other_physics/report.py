"""How the population looks: healthy percentiles, and the effect of each fault on the very vehicle and day without it.

python -m bench.other_physics.report --seed 7 --count 12
"""

import argparse

import numpy as np

from .cars import Day, Vehicle
from .cycling import Running, steady
from .faults import FAULTS, bend
from .loop import Car, State
from .population import healthy_day, high_port_pressure, run_loop, solve_faulty
from .properties import Fluid, T, sat

PSI = 6894.757
COLUMNS = ("T_low K", "low kPa", "superheat K", "high kPa", "subcool K", "T_dis K", "vent K", "capacity", "as seen")


def held_in(f: Fluid, v: Vehicle, c: Car, s: State) -> np.ndarray:
    """The quantities of the report with the clutch held in, so that signs are the loop's own; capacity in W."""
    run = steady(s, high_port_pressure(v, s))
    return np.array([
        sat(f, run.low[0], T), (run.low[0] - c.p_atm) / 1e3, max(s.superheat, 0.0), (run.high[0] - c.p_atm) / 1e3,
        max(s.subcooling, 0.0), s.t_discharge, run.t_air, run.capacity,
    ])  # fmt: skip


def healthy_table(rng: np.random.Generator, count: int) -> None:
    rows = []
    for _ in range(count):
        v, d, c, _, s, _, run = healthy_day(rng, "")
        rows.append(_healthy_row(v, d, c, s, run))
    a = np.array(rows)
    names = ("high psi / air °F", "vent °C", "low psi", "capacity W", "superheat K", "subcooling K", "charge g",
             "discharge °C", "duty", "COP")  # fmt: skip
    mild = (a[:, 10] > 20) & (a[:, 10] < 38)
    for title, mask in (("healthy, all", mild | True), ("healthy, 20..38 °C", mild)):
        print(f"{title} ({mask.sum()}): percentiles 5 25 50 75 95")
        for k, name in enumerate(names):
            print(f"  {name:18s}", *np.round(np.percentile(a[mask, k], [5, 25, 50, 75, 95]), 2))


def _healthy_row(v: Vehicle, d: Day, c: Car, s: State, run: Running) -> tuple[float, ...]:
    air_f = (d.t_air - 273.15) * 1.8 + 32.0
    return (
        (run.high[0] - c.p_atm) / PSI / air_f, run.t_air + v.duct_gain - 273.15, (run.low[0] - c.p_atm) / PSI,
        run.capacity, max(s.superheat, 0.0), max(s.subcooling, 0.0), c.charge * 1e3, s.t_discharge - 273.15, run.duty,
        s.capacity / s.power, d.t_air - 273.15,
    )  # fmt: skip


def effects(rng: np.random.Generator, count: int) -> None:
    """Mean change by fault over `count` vehicles each, clutch held in; last column capacity with cycling."""
    print(f"{'fault':26s}{'device':13s}{'n':>3s}  " + "".join(f"{c:>12s}" for c in COLUMNS) + "   not solved")
    for fault in FAULTS:
        if fault in ("compressor_not_driven", "warm_air_mixing", "gauge_error"):
            continue  # the loop is untouched or stopped
        rows: dict[str, list[np.ndarray]] = {"orifice": [], "thermostatic": []}
        missed = 0
        for _ in range(count):
            v, _, c, f, s, u, run = healthy_day(rng, "variable" if fault == "compressor_low_stroke" else "")
            bent = bend(rng, fault, v, c, f, s, float(u[2]) * 1e5)
            s2, norm = solve_faulty(v, c, u, bent)
            if norm > 1e-6:
                missed += 1
                continue
            a, b = held_in(f, v, c, s), held_in(bent.fluid, v, bent.car, s2)
            seen = run_loop(bent.fluid, v, bent.car, s2).capacity / run.capacity
            rows[v.expansion].append(np.concatenate([b[:-1] - a[:-1], [b[-1] / a[-1], seen]]))
        for device, got in rows.items():
            if got:
                mean = "".join(f"{x:12.2f}" for x in np.mean(got, axis=0))
                print(f"{fault:26s}{device:13s}{len(got):3d}  {mean}   {missed}")


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m bench.other_physics.report")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--count", type=int, default=12)
    a = parser.parse_args()
    rng = np.random.default_rng(a.seed)
    healthy_table(rng, 12 * a.count)
    effects(rng, a.count)


if __name__ == "__main__":
    main()
