"""The same loop solved the plain way: one at a time, CoolProp for every refrigerant property, SciPy for the root.

The balances are the model's own source, run as Python (see `plain`); only the properties and the solver are others.
CoolProp is called in two ways: `low` as someone who minds speed would (low-level interface, states kept, only what is
asked for), `high` as most write it (PropsSI, a call a property).
"""

from __future__ import annotations

import time
from functools import lru_cache
from types import SimpleNamespace
from typing import Any, NamedTuple

import numpy as np
from CoolProp import CoolProp as cp  # noqa: N813
from scipy.optimize import root

from bench.loops import draws
from bench.plain import circuit, plain
from loopwright.circuit.loop import entering_air, loop
from loopwright.circuit.steady import _STARTS, CONVERGED, first_guess, solve_batch
from loopwright.fluids import refrigerant_array

CLOSED = 1e-6  # largest balance at which a solution is taken
_low = cp.AbstractState("HEOS", "R134a")
TOP = _low.T_critical() - 0.3
PAIRS = {cp.QT_INPUTS: "QT", cp.PQ_INPUTS: "PQ", cp.HmassP_INPUTS: "HP", cp.PSmass_INPUTS: "PS", cp.PT_INPUTS: "PT"}
NAMES = {
    "p": "P", "T": "T", "rhomass": "DMASS", "hmass": "HMASS", "smass": "SMASS", "cpmass": "CPMASS",
    "viscosity": "VISCOSITY", "conductivity": "CONDUCTIVITY",
}  # fmt: skip


class High:
    """A state of PropsSI: every property is a call."""

    def __init__(self, pair: str, a: float, b: float) -> None:
        self._inputs = (pair[0], a, pair[1], b)

    def __getattr__(self, name: str) -> Any:
        return lambda: cp.PropsSI(NAMES[name], *self._inputs, "R134a")


class Meter:
    """Which interface is in use, and the time spent in the state updates of CoolProp."""

    high = False
    updates = 0


def _update(pair: int, a: float, b: float) -> Any:
    Meter.updates += 1
    if Meter.high:
        return High(PAIRS[pair], a, b)
    _low.update(pair, a, b)
    return _low


class Saturated:
    """Both saturated phases at a temperature; each property is asked of CoolProp when first used."""

    _HOW = {"rho": "rhomass", "h": "hmass", "s": "smass", "cp": "cpmass", "mu": "viscosity", "k": "conductivity"}  # noqa: RUF012

    def __init__(self, t: float) -> None:
        self._t = t

    def __getattr__(self, name: str) -> float:
        if name == "p":
            value = _update(cp.QT_INPUTS, 1.0, self._t).p()
        else:
            kind, phase = name.rsplit("_", 1)
            value = getattr(_update(cp.QT_INPUTS, 0.0 if phase == "l" else 1.0, self._t), self._HOW[kind])()
        setattr(self, name, value)
        return float(value)


@lru_cache(maxsize=16)
def _saturated(t: float) -> Saturated:
    return Saturated(t)


def saturation(r: Any, t: float) -> Saturated:
    return _saturated(min(max(t, 190.0), TOP))


def saturation_pressure(r: Any, t: float) -> float:
    return saturation(r, t).p


def saturation_temperature(r: Any, p: float) -> float:
    return float(_update(cp.PQ_INPUTS, min(max(p, 2e3), 4.0e6), 1.0).T())


def liquid_temperature(r: Any, h: float) -> float:
    """Saturated liquid with that enthalpy, by Newton's method."""
    t = 273.15 + (h - 200e3) / 1400.0
    for _ in range(8):
        t = min(max(t, 180.0), TOP)
        state = _update(cp.QT_INPUTS, 0.0, t)
        step = (state.hmass() - h) / state.cpmass()
        t -= step
        if abs(step) < 1e-7:
            break
    return t


def vapour(r: Any, t_sat: float, h: float) -> SimpleNamespace:
    state = _update(cp.HmassP_INPUTS, h, saturation(r, t_sat).p)
    return SimpleNamespace(t=state.T(), rho=state.rhomass(), s=state.smass())


def isentrope(r: Any, t_sat: float, s: float) -> float:
    return float(_update(cp.PSmass_INPUTS, saturation(r, t_sat).p, s).hmass())


def vapour_enthalpy(r: Any, t_sat: float, t: float) -> float:
    if t - t_sat < 1e-6:
        return saturation(r, t_sat).h_v
    return float(_update(cp.PT_INPUTS, saturation(r, t_sat).p, t).hmass())


def temperature(r: Any, t_sat: float, h: float) -> float:
    return float(_update(cp.HmassP_INPUTS, h, saturation(r, t_sat).p).T())


SWAPPED = {
    f.__name__: f
    for f in (
        saturation, saturation_pressure, saturation_temperature, liquid_temperature, vapour, isentrope, vapour_enthalpy,
        temperature,
    )
}  # fmt: skip


class Solved(NamedTuple):
    """Unknowns (4), whether the balances close, evaluations of the loop."""

    x: np.ndarray
    closed: bool
    evaluations: int


def solve_one(row: Any) -> Solved:
    """One circuit by SciPy's hybrid Powell method from the model's own starts, in the same order."""
    c = circuit(row)
    air = plain(entering_air, {})(c)
    balances = plain(loop, SWAPPED)
    r = SimpleNamespace(p_critical=_low.p_critical(), t_critical=_low.T_critical())
    seen = [0]

    def f(x: np.ndarray) -> list[float]:
        seen[0] += 1
        s = balances(c, r, air, float(x[0]), float(x[1]), float(x[2]), float(x[3]))
        return [s.flow_balance, s.evaporator_balance, s.condenser_balance, s.charge_balance]

    x = np.empty(4)
    for start in _STARTS:
        first_guess(row, entering_air(row), x)
        try:
            found = root(f, x + start, method="hybr", options={"xtol": 1e-10})
        except (ValueError, OverflowError, ZeroDivisionError):
            continue  # the method strayed where CoolProp has no answer
        if max(abs(v) for v in found.fun) < CLOSED:
            return Solved(found.x, True, seen[0])
    return Solved(x, False, seen[0])


class Compared(NamedTuple):
    """Seconds, loop evaluations and CoolProp states a loop; how many closed; agreement with ours."""

    seconds: float
    evaluations: float
    updates: float
    closed: int
    count: int
    same: int
    temperature_difference: float


def compare(count: int = 40, high: bool = False, seed: int = 17) -> Compared:
    """Solve the same prior draws both ways; a difference under 0.2 K counts as the same solution."""
    r = refrigerant_array("R134a")
    batch = draws(2 * count, seed).batch
    x, codes, counts = np.empty((len(batch), 4)), np.empty(len(batch), np.int64), np.empty(len(batch), np.int64)
    solve_batch(batch, r, x, codes, counts)
    rows = np.flatnonzero(codes == CONVERGED)[:count]
    Meter.high, Meter.updates = high, 0
    _saturated.cache_clear()
    begun = time.perf_counter()
    solved = [solve_one(batch[i]) for i in rows]
    seconds = (time.perf_counter() - begun) / len(rows)
    apart = [float(np.max(np.abs(s.x[:2] - x[i, :2]))) for s, i in zip(solved, rows, strict=True) if s.closed]
    near = [d for d in apart if d < 0.2]
    evaluations = float(np.mean([s.evaluations for s in solved]))
    return Compared(seconds, evaluations, Meter.updates / len(rows), len(apart), len(rows), len(near), max(near))
