"""One judgement, a batch of sheets, and the first answer of a new process."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

PEAK = """
import json, sys
from loopwright import judge
for line in open(sys.argv[1], encoding="utf-8"):
    judge(json.loads(line))
try:  # not getrusage: on Linux it counts the parent's memory from before the program was started
    lines = open("/proc/self/status").read().splitlines()
    print(next(int(line.split()[1]) * 1024 for line in lines if line.startswith("VmHWM")))
except OSError:
    print(-1)
"""


def ten_readings(index: int) -> dict[str, Any]:
    """A sheet with ten readings and no words, from our own prior."""
    from bench.calibration.population import draw_case
    from loopwright.circuit.points import PLACE

    case = draw_case(41, 3 * index + 1)
    test, out = case.test, case.outputs
    points = (
        ("standing", "low_side", "pressure", "standing_low"), ("running", "low_side", "pressure", "low_side"),
        ("running", "high_side", "pressure", "high_side"), ("running", "vent_center", "temperature", "vent_center"),
        ("running", "compressor_suction", "temperature", "compressor_suction"),
        ("running", "compressor_discharge", "temperature", "compressor_discharge"),
        ("running", "condenser_outlet", "temperature", "condenser_outlet"),
        ("running", "expansion_inlet", "temperature", "expansion_inlet"),
        ("running", "evaporator_inlet", "temperature", "evaporator_inlet"),
        ("running", "evaporator_outlet", "temperature", "evaporator_outlet"),
    )  # fmt: skip
    readings = [
        {"phase": phase, "point": point, "quantity": quantity, "value": round(float(out[PLACE[name]]), 2)}
        | ({"unit": "Pa", "reference": "absolute"} if quantity == "pressure" else {"unit": "K"})
        for phase, point, quantity, name in points
    ]
    return {
        "schema": 1,
        "id": test.id,
        "vehicle": {
            "refrigerant": test.vehicle.refrigerant,
            "expansion": test.vehicle.expansion,
            "storage": test.vehicle.storage,
            "compressor": test.vehicle.compressor or "fixed",
            "charge_g": 620,
        },
        "weather": {
            "air_temperature_c": round(test.weather.air_temperature - 273.15, 1),
            "relative_humidity_pct": 45,
            "altitude_m": 100,
        },
        "test": {"compressor_speed_rpm": 1800, "blower": "high", "air": "fresh", "minutes_running": 8},
        "readings": readings,
    }


class Judged(NamedTuple):
    """Seconds of one judgement, median and 90th percentile over the sheets; peak memory [MB] of a judging process."""

    median: float
    worst_tenth: float
    sheets: int
    megabytes: float


def one_judgement(count: int, work: Path) -> Judged:
    """`count` different sheets, once each, after one to warm up; then the same in a process of its own for memory."""
    from loopwright import judge

    sheets = [ten_readings(i) for i in range(count)]
    judge(sheets[0])
    times = []
    for sheet in sheets:
        begun = time.perf_counter()
        judge(sheet)
        times.append(time.perf_counter() - begun)
    file = work / "ten.jsonl"
    file.write_text("\n".join(json.dumps(s) for s in sheets) + "\n", encoding="utf-8")
    size = float(_run([sys.executable, "-c", PEAK, str(file)]).stdout)
    return Judged(float(np.median(times)), float(np.quantile(times, 0.9)), count, size / 1e6)


def _run(command: list[str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, check=True, capture_output=True, text=True)


def _timed(command: list[str], repeats: int) -> float:
    times = []
    for _ in range(repeats):
        begun = time.perf_counter()
        _run(command)
        times.append(time.perf_counter() - begun)
    return float(np.median(times))


def command() -> str:
    """The installed command beside this interpreter."""
    folder = Path(sys.executable).parent
    return str(folder / ("loopwright.exe" if sys.platform == "win32" else "loopwright"))


def new_process(work: Path, repeats: int = 5) -> tuple[float, float]:
    """Median seconds of `loopwright --version` and of `loopwright judge` on one sheet, each in a new process."""
    sheet = work / "one.json"
    sheet.write_text(json.dumps(ten_readings(1)), encoding="utf-8")
    judge = [command(), "judge", "--json", str(sheet)]
    _run(judge)  # whatever is not compiled yet is compiled here
    return _timed([command(), "--version"], repeats), _timed(judge, repeats)


def batch(work: Path, count: int = 60) -> float:
    """Seconds of `loopwright judge --json` on a file of `count` sheets of other physics, everything read."""
    from bench.calibration.detection import OTHER_PHYSICS

    lines = OTHER_PHYSICS.read_text(encoding="utf-8").splitlines()[:count]
    file = work / "batch.jsonl"
    file.write_text("\n".join(json.dumps(json.loads(line)["sheet"]) for line in lines) + "\n", encoding="utf-8")
    begun = time.perf_counter()
    done = _run([command(), "judge", "--json", str(file)])
    spent = time.perf_counter() - begun
    if len(done.stdout.splitlines()) != len(lines):
        raise RuntimeError(f"{len(lines)} sheets gave {len(done.stdout.splitlines())} lines")
    return spent
