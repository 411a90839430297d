"""Time of one property call, in ns, against the same through CoolProp's low-level interface.

The arguments wander over the working range, as a solver's do, so that neither branch nor cache is always right.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
from CoolProp import CoolProp as cp  # noqa: N813
from numba import njit

from loopwright.fluids import moist_air, refrigerant
from loopwright.fluids import refrigerants as f

CALLS = 100_000
RNG = np.random.default_rng(1)


@njit
def _saturation(r: Any, t: Any, y: Any) -> float:
    total = 0.0
    for x in t:
        s = f.saturation(r, x)
        total += s.p + s.rho_l + s.rho_v + s.h_l + s.h_v + s.s_l + s.s_v + s.cp_l + s.cp_v + s.mu_l + s.mu_v
        total += s.k_l + s.k_v
    return total


@njit
def _vapour(r: Any, t: Any, y: Any) -> float:
    total = 0.0
    for i in range(t.size):
        v = f.vapour(r, t[i], y[i])
        total += v.t + v.rho + v.s
    return total


def _scalar(function: Any) -> Any:
    @njit
    def run(r: Any, t: Any, y: Any) -> float:
        total = 0.0
        for i in range(t.size):
            total += function(r, t[i], y[i])
        return total

    return run


def _single(function: Any) -> Any:
    @njit
    def run(r: Any, t: Any, y: Any) -> float:
        total = 0.0
        for i in range(t.size):
            total += function(r, y[i])
        return total

    return run


def _air(function: Any) -> Any:
    @njit
    def run(t: Any, y: Any) -> float:
        total = 0.0
        for i in range(t.size):
            total += function(t[i], y[i])
        return total

    return run


def nanoseconds(run: Callable[..., Any], *arguments: Any) -> float:
    run(*arguments)
    best = min(_once(run, *arguments) for _ in range(15))
    return best / CALLS * 1e9


def _once(run: Callable[..., Any], *arguments: Any) -> float:
    start = time.perf_counter()
    run(*arguments)
    return time.perf_counter() - start


def coolprop_nanoseconds(pair: int, outputs: tuple[str, ...], a: Any, b: Any, n: int = 1000) -> float:
    state = cp.AbstractState("HEOS", "R134a")
    pairs = list(zip(a[:n].tolist(), b[:n].tolist(), strict=True))
    read = [getattr(state, name) for name in outputs]

    def run() -> None:
        for x, y in pairs:
            state.update(pair, x, y)
            for output in read:
                output()

    return min(_once(run) for _ in range(10)) / n * 1e9


def main() -> None:
    r = refrigerant("R134a")
    t = RNG.uniform(250.0, 345.0, CALLS)
    sat = [f.saturation(r, x) for x in t[:5000]]
    t = np.tile(t[:5000], CALLS // 5000)
    p, h, s = (np.tile([getattr(x, k) for x in sat], CALLS // 5000) for k in ("p", "h_v", "s_v"))
    more = RNG.uniform(0.0, 60e3, CALLS)
    h, s, warm = h + more, s + more / t, t + more / 1e3
    mass = ("rhomass", "hmass", "smass", "cpmass", "viscosity", "conductivity")
    both = coolprop_nanoseconds(cp.QT_INPUTS, mass, 0 * t, t) + coolprop_nanoseconds(cp.QT_INPUTS, mass, 0 * t + 1, t)
    rows = [
        ("saturation (13 properties)", nanoseconds(_saturation, r, t, h), both),
        ("saturation_pressure", nanoseconds(_single(f.saturation_pressure), r, p, t), None),
        ("saturation_temperature", nanoseconds(_single(f.saturation_temperature), r, t, p), None),
        ("liquid_temperature", nanoseconds(_single(f.liquid_temperature), r, t, h - 180e3), None),
        ("vapour", nanoseconds(_vapour, r, t, h), coolprop_nanoseconds(cp.HmassP_INPUTS, mass[:3], h, p)),
        (
            "isentrope",
            nanoseconds(_scalar(f.isentrope), r, t, s),
            coolprop_nanoseconds(cp.PSmass_INPUTS, mass[:3], p, s),
        ),
        ("vapour_enthalpy", nanoseconds(_scalar(f.vapour_enthalpy), r, t, warm), None),
        ("temperature", nanoseconds(_scalar(f.temperature), r, t, h), None),
        ("density", nanoseconds(_scalar(f.density), r, t, h), None),
        ("superheated_density", nanoseconds(_scalar(f.superheated_density), r, p * 0.6, t), None),
    ]
    for name, ours, theirs in rows:
        ratio = f"   CoolProp {theirs:9.0f} ns   {theirs / ours:7.0f} times" if theirs else ""
        print(f"{name:34s}{ours:8.1f} ns{ratio}")
    air_t, air_p = RNG.uniform(273.0, 315.0, CALLS), np.full(CALLS, 101325.0)
    air_h = np.array([moist_air.saturated_enthalpy(x, 101325.0) for x in air_t])
    for name, function, x in (
        ("saturated_enthalpy", moist_air.saturated_enthalpy, air_t),
        ("temperature_at_saturated_enthalpy", moist_air.temperature_at_saturated_enthalpy, air_h),
    ):
        print(f"{name:34s}{nanoseconds(_air(function), x, air_p):8.1f} ns")


if __name__ == "__main__":
    main()
