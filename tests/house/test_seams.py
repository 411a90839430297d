"""The public names, the road from a sheet to the kernel, and what an import costs in modules."""

import subprocess
import sys
from types import FrameType
from typing import Any

import loopwright

SHEET = {
    "schema": 1,
    "vehicle": {"refrigerant": "R134a", "expansion": "thermostatic", "storage": "receiver", "compressor": "fixed"},
    "weather": {"air_temperature_c": 30, "relative_humidity_pct": 40},
    "test": {"compressor_speed_rpm": 1800, "minutes_running": 8},
    "readings": [
        {"phase": "running", "point": "high_side", "quantity": "pressure", "value": "210 psi", "reference": "gauge"},
        {"phase": "running", "point": "vent_center", "quantity": "temperature", "value": "46 °F"},
    ],
}


def test_public_names() -> None:
    assert sorted(loopwright.__all__) == ["InputError", "__version__", "judge", "judge_batch", "judge_file"]
    assert all(getattr(loopwright, name) is not None for name in loopwright.__all__)


def test_five_frames_from_door_to_kernel() -> None:
    """`api.judge` hands the test to `diagnosis.judge`, and no more than five frames of ours stand above a kernel."""
    deepest: list[list[str]] = []

    def watch(frame: FrameType, event: str, arg: Any) -> None:
        if event == "call" and frame.f_code.co_name == "infer":
            names = []
            walker: FrameType | None = frame
            while walker is not None:
                module = walker.f_globals.get("__name__", "")
                if module.startswith("loopwright."):
                    names.append(f"{module}.{walker.f_code.co_name}")
                walker = walker.f_back
            deepest.append(names)

    sys.setprofile(watch)
    try:
        loopwright.judge(SHEET)
    finally:
        sys.setprofile(None)
    assert deepest
    assert max(len(names) for names in deepest) <= 5
    assert {name.split(".")[1] for names in deepest for name in names} == {"api", "diagnosis"}


def test_the_version_costs_nothing() -> None:
    heavy = ["numba", "numpy", "scipy", "vl_convert", "CoolProp", "jsonschema"]
    script = f"import sys, loopwright; print(loopwright.__version__, [m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.split(" ", 1)[1].strip() == "[]"


def test_same_sheet_same_seed_same_judgement() -> None:
    first, second = loopwright.judge(SHEET, seed=4), loopwright.judge(SHEET, seed=4)
    assert [c.probability for c in first.causes] == [c.probability for c in second.causes]
    assert first.states == second.states
