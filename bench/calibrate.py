"""python -m bench.calibrate [own|nested|other|trained|rise|report ...] [--count N] [--workers N]

own     simulation-based calibration and causes found, on draws from our own prior (full: 1,200 draws)
nested  evidence and severity against dynesty (full: 24 sheets)
other   causes found on the kept vehicles of other physics (full: 720 vehicles, three reading sets)
trained what a classifier trained on 8,000 vehicles of those other physics finds on the kept ones
rise    which of three kinds of rise curve a pressure test shows (full: 3,000 curves), on a page of its own
report  only the page, from the rows at hand

Each part keeps its rows as CSV in docs/results and writes the page anew.
"""

from __future__ import annotations

import argparse
import os
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

FULL = {"own": 1200, "nested": 24, "other": 720, "trained": 8000, "rise": 3000}


def main() -> None:
    parser = argparse.ArgumentParser(
        prog="python -m bench.calibrate", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("parts", nargs="*", choices=[*FULL, "report"], default=None)
    parser.add_argument("--count", type=int, help="draws, sheets or vehicles instead of the full number")
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    a = parser.parse_args()
    os.environ["NUMBA_NUM_THREADS"] = "1"  # one process a core beats two threads in each; read when numba is imported

    from bench.calibration import report

    for part in a.parts or FULL:
        begun = time.perf_counter()
        if part in FULL:
            _run(part, a.count or FULL[part], a.seed, a.workers)
        print(f"{part}: {time.perf_counter() - begun:.0f} s", flush=True)
    print(report.write())


def _run(part: str, count: int, seed: int, workers: int) -> None:
    if part == "rise":
        from bench import rise_curve

        rise_curve.write(count, seed)
        return
    from bench.calibration import detection, outside, ranks, report, rows, trained

    if part == "trained":
        share = count // len(trained.SEEDS)
        with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
            lines = [x for part in pool.map(trained.records, trained.SEEDS, [share] * len(trained.SEEDS)) for x in part]
        rows.write(report.TRAINED, list(trained.rows(lines)))
        return
    work, jobs, path = {
        "own": (ranks.row_of, [(seed, i) for i in range(count)], report.OWN),
        "nested": (outside.row_of, outside.jobs(seed, count), report.NESTED),
        "other": (detection.other_row, detection.other_jobs(count), report.OTHER),
    }[part]
    rows.map_rows(work, jobs, workers, path)


if __name__ == "__main__":
    main()
