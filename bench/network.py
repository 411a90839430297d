"""One simple refrigeration cycle in a general thermal-network library, TESPy."""

from __future__ import annotations

import time
import warnings
from typing import Any

import numpy as np


def build() -> tuple[Any, Any]:
    """The solved network of R-134a, and the connection whose temperature is moved between solves."""
    from tespy.components import Compressor, CycleCloser, SimpleHeatExchanger, Valve
    from tespy.connections import Connection
    from tespy.networks import Network

    network = Network()
    network.units.set_defaults(temperature="degC", pressure="bar", enthalpy="kJ/kg")
    network.iterinfo = False
    closer, compressor, valve = CycleCloser("closer"), Compressor("compressor"), Valve("valve")
    condenser, evaporator = SimpleHeatExchanger("condenser"), SimpleHeatExchanger("evaporator")
    c1 = Connection(evaporator, "out1", compressor, "in1")
    c2 = Connection(compressor, "out1", condenser, "in1")
    c3 = Connection(condenser, "out1", valve, "in1")
    c4 = Connection(valve, "out1", closer, "in1")
    c5 = Connection(closer, "out1", evaporator, "in1")
    network.add_conns(c1, c2, c3, c4, c5)
    condenser.set_attr(pr=0.98)
    evaporator.set_attr(pr=0.98, Q=5e3)
    compressor.set_attr(eta_s=0.68)
    c1.set_attr(T_dew=2.0, td_dew=5.0, fluid={"R134a": 1})
    c3.set_attr(T_bubble=50.0, td_bubble=5.0)
    network.solve("design")
    return network, c3


def warm_solve_seconds(repeats: int = 15) -> tuple[float, float]:
    """Median time of a solve started from the last solution, condensing temperature moved a little; last residual."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        network, moved = build()
        times = []
        for k in range(repeats):
            moved.set_attr(T_bubble=50.0 + 0.5 * (k % 5))
            begun = time.perf_counter()
            network.solve("design")
            times.append(time.perf_counter() - begun)
    return float(np.median(times)), float(np.max(np.abs(network.problem.residual)))
