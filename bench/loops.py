"""Steady loops a second, what one costs, and what bounds that.

Loops are prior draws of every fault in ordinary weather on six structures. Cold: each from its own first guess. Warm: a
neighbour (the unknowns moved by a tenth of a standard deviation) from the solution and the Jacobian kept there, as the
sampler does. What is compiled here is not cached, so that it cannot be older than the model.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numba import get_num_threads, njit, prange

from loopwright.circuit.loop import entering_air, loop
from loopwright.circuit.record import circuits
from loopwright.circuit.steady import CONVERGED, HELD_OFF, solve, solve_batch, solve_from
from loopwright.diagnosis.prior import Table, bend, hypotheses, stack
from loopwright.fluids import refrigerant_array
from loopwright.fluids.refrigerants import saturation
from loopwright.readings import Conditions, Test, Vehicle, Weather

REPEATS = 5
NEAR = 0.1  # standard deviations between neighbours
DAYS = ((293.15, 0.5), (303.15, 0.45), (311.15, 0.35))  # air temperature [K] and relative humidity: ordinary weather


class Draws(NamedTuple):
    """Circuits drawn from the prior, and neighbours of each."""

    batch: np.ndarray
    near: np.ndarray


class Measured(NamedTuple):
    """Medians over `REPEATS` runs: loops a second; and how the solves went."""

    cold: float
    warm: float
    cold_evaluations: float
    warm_evaluations: float
    lost: int
    held_off: int
    nanoseconds: float
    saturation_nanoseconds: float
    transcendental_nanoseconds: float
    threads: int


@njit
def _bent(table: Table, which: np.ndarray, u: np.ndarray, batch: np.ndarray) -> None:
    flat = batch.view(np.float64).reshape(batch.shape[0], -1)
    for i in range(which.shape[0]):
        bend(table, which[i], u[i], flat[i])


def draws(count: int, seed: int = 11, refrigerant: str = "R134a") -> Draws:
    """`count` circuits over days, structures and faults, every fault as often as its prior says."""
    rng = np.random.default_rng(seed)
    batch, near = circuits(count), circuits(count)
    for k, day in enumerate(DAYS):
        mine = slice(k * count // len(DAYS), (k + 1) * count // len(DAYS))
        test = Test("bench", Vehicle(refrigerant), Weather(*day, 100.0), Conditions(30.0, "high", "fresh", 600.0))
        found = hypotheses(test)
        prior = np.exp([h.log_prior for h in found])
        n = mine.stop - mine.start
        which = rng.choice(len(found), size=n, p=prior / prior.sum())
        table = stack(found)
        u = rng.standard_normal((n, table.kinds.shape[1]))
        _bent(table, which, u, batch[mine])
        _bent(table, which, u + NEAR * rng.standard_normal(u.shape), near[mine])
    order = rng.permutation(count)
    return Draws(batch[order], near[order])


@njit(parallel=True)
def _keep(batch: np.ndarray, r: Any, x: np.ndarray, jac: np.ndarray, codes: np.ndarray) -> None:
    """Solve and keep the Jacobian at each solution."""
    for i in prange(batch.shape[0]):
        c = batch[i]
        air = entering_air(c)
        code, _ = solve(c, r[0], air, x[i])
        if code == CONVERGED:
            x[i, 0] += 1e-3  # off the solution, so that the solver builds its derivatives there
            solve_from(c, r[0], air, x[i], jac[i], False, 25)
        codes[i] = code


@njit(parallel=True)
def _warm(batch: np.ndarray, r: Any, x: np.ndarray, jac: np.ndarray, codes: np.ndarray, counts: np.ndarray) -> None:
    """Neighbours from kept starts; one that fails is solved cold, and both are counted."""
    for i in prange(batch.shape[0]):
        c = batch[i]
        air = entering_air(c)
        code, count = solve_from(c, r[0], air, x[i], jac[i], True, 25)
        if code != CONVERGED:
            code, more = solve(c, r[0], air, x[i])
            count += more
        codes[i] = code
        counts[i] = count


@njit
def _evaluate(batch: np.ndarray, r: Any, x: np.ndarray) -> float:
    total = 0.0
    for i in range(batch.shape[0]):
        c = batch[i]
        total += loop(c, r[0], entering_air(c), x[i, 0], x[i, 1], x[i, 2], x[i, 3]).flow_balance
    return total


@njit
def _look_up(r: Any, t: np.ndarray) -> float:
    total = 0.0
    for i in range(t.shape[0]):
        s = saturation(r[0], t[i])
        total += s.p + s.rho_l + s.rho_v + s.h_l + s.h_v + s.cp_l + s.cp_v + s.mu_l + s.mu_v + s.k_l + s.k_v
    return total


@njit
def _powers(t: np.ndarray) -> float:
    total = 0.0
    for i in range(t.shape[0]):
        total += (t[i] * 3.7e-3) ** 0.41
    return total


def seconds(run: Callable[[], Any], repeats: int = REPEATS) -> float:
    """Median time of `run`, which is run once before."""
    run()
    times = []
    for _ in range(repeats):
        begun = time.perf_counter()
        run()
        times.append(time.perf_counter() - begun)
    return float(np.median(times))


def measure(count: int = 30_000) -> Measured:
    """Everything about steady loops, in one run."""
    r = refrigerant_array("R134a")
    drawn = draws(count)
    n = len(drawn.batch)
    x, codes, counts = np.empty((n, 4)), np.empty(n, np.int64), np.empty(n, np.int64)
    cold = seconds(lambda: solve_batch(drawn.batch, r, x, codes, counts))
    solved = codes == CONVERGED
    lost, held = int((codes == 1).sum()), int((codes == HELD_OFF).sum())
    cold_evaluations = float(counts[solved].mean())
    batch, near = drawn.batch[solved], drawn.near[solved]
    m = len(batch)
    kept, jac, kept_codes = np.empty((m, 4)), np.empty((m, 4, 4)), np.empty(m, np.int64)
    _keep(batch, r, kept, jac, kept_codes)
    warm_codes, warm_counts = np.empty(m, np.int64), np.empty(m, np.int64)
    warm = seconds(lambda: _warm(near, r, kept.copy(), jac.copy(), warm_codes, warm_counts))
    t = np.random.default_rng(3).uniform(265.0, 340.0, 100_000)
    return Measured(
        cold=n / cold,
        warm=m / warm,
        cold_evaluations=cold_evaluations,
        warm_evaluations=float(warm_counts.mean()),
        lost=lost,
        held_off=held,
        nanoseconds=seconds(lambda: _evaluate(batch, r, kept)) / m * 1e9,
        saturation_nanoseconds=seconds(lambda: _look_up(r, t)) / len(t) * 1e9,
        transcendental_nanoseconds=seconds(lambda: _powers(t)) / len(t) * 1e9,
        threads=get_num_threads(),
    )
