"""Median vehicles of every structure, and what one of them does today: for the tests of the loop."""

from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from loopwright.circuit.loop import Air, Loop, entering_air
from loopwright.circuit.points import OUTPUTS, read_idle, read_running
from loopwright.circuit.record import CIRCUIT, row
from loopwright.circuit.steady import CONVERGED, HELD_OFF, solve, state
from loopwright.diagnosis.prior import bend, hypotheses, stack
from loopwright.fluids import refrigerant
from loopwright.readings import read

REFRIGERANTS = ("R134a", "R1234yf", "R12", "R152a")
TRAINS = (("thermostatic", "receiver"), ("orifice", "accumulator"))
COMPRESSORS = ("fixed", "variable", "electric")


class Running(NamedTuple):
    """A circuit that ran: its record, refrigerant, air, solved unknowns and code, full state, and what can be read."""

    circuit: Any
    refrigerant: Any
    air: Air
    unknowns: np.ndarray
    code: int
    state: Loop | None
    read: dict[str, float]


@lru_cache(maxsize=64)
def _median(expansion, storage, compressor, name):
    sheet = {
        "schema": 1,
        "vehicle": {"refrigerant": name, "expansion": expansion, "storage": storage, "compressor": compressor},
        "weather": {"air_temperature_c": 35.0, "relative_humidity_pct": 40.0},
        "readings": [],
    }
    found = [h for h in hypotheses(read(sheet)) if h.fault.id == "healthy"]
    out = np.zeros((1, len(CIRCUIT)))
    table = stack(found)
    bend(table, 0, np.zeros(table.kinds.shape[1]), out[0])
    batch = np.zeros(1, CIRCUIT)
    row(batch)[:] = out
    return batch


def vehicle(expansion="thermostatic", storage="receiver", compressor="fixed", name="R134a", **fields):
    """The median healthy vehicle of the prior, 35 °C and 40 % humidity, high blower; `fields` are set on top."""
    batch = _median(expansion, storage, compressor, name).copy()
    for key, value in fields.items():
        batch[key] = value
    return batch


@lru_cache(maxsize=512)
def ran(expansion, storage, compressor, name, *changes) -> Running:
    """A median vehicle run with `changes` (pairs of field and value); remembered, since many tests look at one run."""
    return run(vehicle(expansion, storage, compressor, name, **dict(changes)), name)


def run(batch, name="R134a") -> Running:
    """Steady state of a batch of one, and its readings."""
    c, r = batch[0], refrigerant(name)
    air, x, out = entering_air(c), np.zeros(4), np.zeros(len(OUTPUTS))
    code, _ = solve(c, r, air, x)
    found = None
    if code == CONVERGED:
        read_running(c, r, x, out)
        found = state(c, r, x)
    elif code == HELD_OFF:
        read_idle(c, r, out)
    return Running(c, r, air, x, code, found, dict(zip(OUTPUTS, map(float, out), strict=True)))
