"""How often the steady solver finds a solution over the whole prior: every fault, structure, refrigerant and weather.

`python -m bench.convergence --draws 100000` writes docs/results/convergence.md. What is not solved is counted by fault
and structure; nothing is dropped.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np

from bench.machine import RESULTS, lines
from loopwright.circuit.record import CIRCUIT
from loopwright.circuit.steady import HELD_OFF, LOST, solve_batch
from loopwright.diagnosis.prior import Hypothesis, bend, hypotheses, stack
from loopwright.fluids import LOOP_REFRIGERANTS, refrigerant_array
from loopwright.readings import read

TRAINS = (("thermostatic", "receiver"), ("orifice", "accumulator"))
COMPRESSORS = ("fixed", "variable", "electric")
A_SHEET = 60  # draws that share one weather


@dataclass(frozen=True)
class Survey:
    """What became of the draws.

    All, lost, held off (the compressor stands); `lost_by` (fault, expansion, compressor, refrigerant); the loop's
    evaluations in each solve; `seconds` of the solver alone; the lost circuits and their refrigerants, to look into.
    """

    draws: int
    lost: int
    held_off: int
    lost_by: Counter[tuple[str, str, str, str]]
    evaluations: np.ndarray
    seconds: float
    records: np.ndarray
    names: tuple[str, ...]


def weather(rng: np.random.Generator) -> dict[str, float]:
    """One day of the range the solver must cover: 5 to 50 °C, 5 to 95 % humidity, 0 to 3000 m."""
    return {
        "air_temperature_c": float(rng.uniform(5.0, 50.0)),
        "relative_humidity_pct": float(rng.uniform(5.0, 95.0)),
        "altitude_m": float(rng.uniform(0.0, 3000.0)),
    }


def sheet(rng: np.random.Generator, number: int) -> dict[str, Any]:
    """A sheet with one structure, refrigerant and weather; idle to 3500 1/min where an engine drives it."""
    expansion, storage = TRAINS[number % 2]
    compressor = COMPRESSORS[number // 2 % 3]
    speed = None if compressor == "electric" else float(rng.uniform(650.0, 3500.0))
    return {
        "schema": 1,
        "vehicle": {
            "refrigerant": LOOP_REFRIGERANTS[number // 6 % 4],
            "expansion": expansion,
            "storage": storage,
            "compressor": compressor,
            "charge_g": float(rng.uniform(350.0, 1100.0)),
        },
        "weather": weather(rng),
        "test": {"compressor_speed_rpm": speed, "blower": ("low", "medium", "high")[int(rng.integers(3))]},
        "readings": [],
    }


def records(found: list[Hypothesis], rng: np.random.Generator, count: int) -> tuple[np.ndarray, np.ndarray]:
    """`count` circuits drawn evenly over the hypotheses: which (count,), records (count,)."""
    table = stack(found)
    which = rng.permutation(np.arange(count) % len(found))
    batch = np.zeros(count, CIRCUIT)
    rows = batch.view(np.float64).reshape(count, -1)
    for i, h in enumerate(which):
        bend(table, int(h), rng.standard_normal(table.kinds.shape[1]), rows[i])
    return which, batch


def survey(draws: int, seed: int) -> Survey:
    """Solve `draws` circuits of the prior from a cold start."""
    rng = np.random.default_rng(seed)
    lost_by: Counter[tuple[str, str, str, str]] = Counter()
    total = lost = held = 0
    evaluations, kept, names, seconds = [], [], [], 0.0
    number = 0
    while total < draws:
        test = read(sheet(rng, number))
        found = hypotheses(test)
        which, batch = records(found, rng, min(A_SHEET, draws - total))
        r, count = refrigerant_array(test.vehicle.refrigerant), len(batch)
        x, codes, counts = np.zeros((count, 4)), np.zeros(count, np.int64), np.zeros(count, np.int64)
        begun = time.perf_counter()
        solve_batch(batch, r, x, codes, counts)
        seconds += time.perf_counter() - begun
        for h in which[codes == LOST]:
            s = found[h].structure
            lost_by[(found[h].fault.id, s.expansion, s.compressor, test.vehicle.refrigerant)] += 1
        kept.append(batch[codes == LOST])
        names += [test.vehicle.refrigerant] * int((codes == LOST).sum())
        lost += int((codes == LOST).sum())
        held += int((codes == HELD_OFF).sum())
        evaluations.append(counts[codes != HELD_OFF])
        total, number = total + count, number + 1
    return Survey(total, lost, held, lost_by, np.concatenate(evaluations), seconds, np.concatenate(kept), tuple(names))


def text(s: Survey, seed: int) -> str:
    """The result as a page."""
    solved = s.draws - s.lost
    share = s.lost / s.draws
    spread = 1.96 * np.sqrt(share * (1.0 - share) / s.draws)
    page = [
        "# Convergence over the prior",
        "",
        f"Made by `python -m bench.convergence`, seed {seed}.",
        "",
        *lines(),
        "",
        f"{s.draws} circuits drawn evenly over every fault variant, four refrigerants, both trains, three compressors;",
        "5 to 50 °C, 5 to 95 % humidity, 0 to 3000 m, 650 to 3500 1/min (electric: the prior's speeds), label charge",
        "350 to 1100 g. Cold start, balances to 1e-7.",
        "",
        "| | |",
        "| --- | --- |",
        f"| solved, or held off by a switch | {solved} ({100.0 * solved / s.draws:.3f} %) |",
        f"| of these held off (the compressor stands) | {s.held_off} |",
        f"| lost | {s.lost} ({100.0 * share:.3f} ± {100.0 * spread:.3f} %) |",
        "| evaluations of the loop a solve: median, 90 %, 99 %, most | "
        + ", ".join(f"{v:.0f}" for v in np.quantile(s.evaluations, [0.5, 0.9, 0.99, 1.0]))
        + " |",
        f"| cold solves a second | {len(s.evaluations) / s.seconds:.0f} |",
        f"| evaluations of the loop a second | {s.evaluations.sum() / s.seconds:.0f} |",
        "",
        "Lost, by fault, expansion, compressor and refrigerant:",
        "",
        "| fault | expansion | compressor | refrigerant | lost |",
        "| --- | --- | --- | --- | --- |",
    ]
    page += [f"| {' | '.join(k)} | {n} |" for k, n in sorted(s.lost_by.items(), key=lambda item: (-item[1], item[0]))]
    return "\n".join(page) + "\n"


def main() -> None:
    """Run the survey and write the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    survey(800, 0)  # compile before anything is timed
    page = text(survey(asked.draws, asked.seed), asked.seed)
    (RESULTS / "convergence.md").write_text(page, encoding="utf-8", newline="\n")
    print(page)


if __name__ == "__main__":
    main()
