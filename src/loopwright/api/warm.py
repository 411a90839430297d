"""`python -m loopwright.api.warm`: compile everything a judgement needs and keep it, so that no user waits for it.

Judges one small sheet for every kind of circuit and refrigerant with tables, and draws its picture. The compiler's
cache looks only at the file in which a function stands, not at what that function calls; so where the sources of the
physics are newer than the cache, all of it is dropped first.
"""

from __future__ import annotations

import time
from pathlib import Path

__all__ = ["drop_stale", "main", "warm", "warm_server"]

COMPILED_ROOMS = ("fluids", "circuit", "diagnosis")
CIRCUITS = (("thermostatic", "receiver", "fixed"), ("orifice", "accumulator", "variable"))
KEPT_AS = ("*.nbi", "*.nbc")


def main() -> None:
    """Warm the cache and say how long it took."""
    begun = time.perf_counter()
    dropped = drop_stale(Path(__file__).resolve().parents[1])
    if dropped:
        print(f"The physics changed: {dropped} compiled files dropped.")
    judged = warm()
    print(f"Compiled code is ready: {judged} sheets judged in {time.perf_counter() - begun:.1f} s.")


def drop_stale(package: Path) -> int:
    """Delete the compiled files of a package folder if any source of its physics is newer; returns how many."""
    rooms = [package / room for room in COMPILED_ROOMS]
    kept = [path for room in rooms for how in KEPT_AS for path in room.rglob(how)]
    sources = [path.stat().st_mtime for room in rooms for path in room.rglob("*.py")]
    if not kept or not sources or max(sources) <= min(path.stat().st_mtime for path in kept):
        return 0
    for path in kept:
        path.unlink(missing_ok=True)
    return len(kept)


def warm() -> int:
    """Judge a sheet for each circuit and refrigerant; returns how many."""
    from loopwright.api import judge
    from loopwright.figures import judgement_text, picture
    from loopwright.fluids import LOOP_REFRIGERANTS

    sheets = [_sheet(name, *circuit) for name in LOOP_REFRIGERANTS for circuit in CIRCUITS]
    for sheet in sheets:
        judgement = judge(sheet)
        judgement_text(judgement)
        picture(judgement)
    return len(sheets)


def warm_server() -> None:
    """Load what a server's own process needs to read a sheet and to draw a picture, before somebody waits for it."""
    from loopwright.figures.dome import dome
    from loopwright.figures.render import SCHEMA, svg
    from loopwright.fluids import LOOP_REFRIGERANTS
    from loopwright.readings import read

    read(_sheet("R134a", *CIRCUITS[0]))
    for name in LOOP_REFRIGERANTS:
        dome(name)
    point = {"x": {"datum": 1, "type": "quantitative"}, "text": {"value": "31 °C"}}
    svg({"$schema": SCHEMA, "data": {"values": [{}]}, "mark": "text", "encoding": point})


def _sheet(refrigerant: str, expansion: str, storage: str, compressor: str) -> dict[str, object]:
    """A few readings and a word of a plain day."""
    readings = [
        ("standing", "low_side", "pressure", "600 kPa"),
        ("running", "low_side", "pressure", "200 kPa"),
        ("running", "high_side", "pressure", "1300 kPa"),
        ("running", "vent_center", "temperature", "8 °C"),
    ]
    return {
        "schema": 1,
        "id": f"warm {refrigerant} {expansion}",
        "vehicle": {
            "refrigerant": refrigerant,
            "expansion": expansion,
            "storage": storage,
            "compressor": compressor,
            "charge_g": 600,
        },
        "weather": {"air_temperature_c": 28.0, "relative_humidity_pct": 50},
        "test": {"compressor_speed_rpm": 1500, "blower": "high", "air": "fresh", "minutes_running": 8},
        "readings": [
            {"phase": phase, "point": point, "quantity": quantity, "value": value}
            for phase, point, quantity, value in readings
        ],
        "observations": [{"phase": "running", "point": "expansion_inlet", "kind": "felt", "value": "warm"}],
    }


if __name__ == "__main__":
    main()
