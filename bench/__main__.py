"""python -m bench [PART ...]: time everything that was promised, in one run, and write docs/results/bench.md.

Parts: loops (steady loops, reference solver, TESPy), judge (one judgement, new process, batch), and the modules beside
this one that other rooms own: bench_fluids, convergence, army_bands.
"""

from __future__ import annotations

import argparse
import importlib.util
import subprocess
import sys
import tempfile
from pathlib import Path

from bench import machine

REPORT = machine.RESULTS / "bench.md"
OTHERS = ("bench_fluids", "convergence", "army_bands")  # written by their own rooms, run as modules
LOOK_UPS = (
    "saturation", "saturation_temperature", "saturation_pressure", "liquid_temperature", "vapour", "isentrope",
    "vapour_enthalpy", "temperature",
)  # fmt: skip


def met(good: bool) -> str:
    return "met" if good else "**missed**"


def row(what: str, value: str, aim: str, good: bool | None) -> str:
    return f"| {what} | {value} | {aim} | {'-' if good is None else met(good)} |"


HEAD = ["", "| what | measured | aim | |", "|---|---|---|---|"]


def loops(count: int) -> list[str]:
    """Steady loops, against the plain solver and the network library."""
    from bench.loops import measure
    from bench.network import warm_solve_seconds
    from bench.reference_loop import compare

    m = measure(count)
    low, high = compare(40), compare(8, high=True)
    tespy, residual = warm_solve_seconds()
    cold_low, warm_low = low.seconds * m.cold, low.seconds * m.warm
    text = [
        "## Steady loops",
        "",
        f"{count} prior draws of all faults in three days of ordinary weather, six structures, R-134a, {m.threads} "
        "threads. Cold: from a first guess. Warm: a neighbour a tenth of a standard deviation away in all unknowns, "
        "from the solution and derivatives kept there.",
        *HEAD,
        row("loops a second, cold", f"{m.cold:,.0f}", "20,000", m.cold >= 20_000),
        row("loops a second, warm start", f"{m.warm:,.0f}", "20,000; ambition 100,000", m.warm >= 20_000),
        row("evaluations of the loop a solve, cold, warm",
            f"{m.cold_evaluations:.1f}, {m.warm_evaluations:.1f}", "-", None),
        row("lost; held off by a switch or not driven",
            f"{m.lost}; {m.held_off}", "at most 0.1 % lost", m.lost <= count / 1000),
        row("CoolProp low-level and SciPy, one loop", f"{low.seconds * 1e3:.1f} ms", "-", None),
        row("ours faster, warm start", f"{warm_low:,.0f} times", "500", warm_low >= 500),
        row("ours faster, cold", f"{cold_low:,.0f} times", "500", cold_low >= 500),
        row("CoolProp PropsSI and SciPy, one loop", f"{high.seconds * 1e3:.0f} ms", "-", None),
        row("ours faster than that, cold", f"{high.seconds * m.cold:,.0f} times", "500",
            high.seconds * m.cold >= 500),
        row("one simple cycle in TESPy, warm", f"{tespy * 1e3:.1f} ms", "-", None),
        row("our loops in that time, warm, cold",
            f"{tespy * m.warm:,.0f}, {tespy * m.cold:,.0f}", "200", tespy * m.warm >= 200),
        "",
        f"The reference runs the same source as plain Python with CoolProp's properties ({low.updates:.0f} states, "
        f"{low.evaluations:.0f} evaluations a loop) and scipy.optimize.root. It closed {low.closed} of {low.count} "
        f"loops, {low.same} of them at our solution, within {low.temperature_difference:.1e} K of "
        f"condensing and evaporating "
        f"temperature. TESPy's residual was {residual:.0e}.",
        "",
    ]  # fmt: skip
    return text + bound(m)


def bound(m: object) -> list[str]:
    """What one evaluation must at least cost, from counted look-ups and costly functions."""
    from bench.loops import Measured, draws
    from bench.plain import circuit, counted
    from loopwright.circuit.loop import entering_air, loop
    from loopwright.fluids import refrigerant

    assert isinstance(m, Measured)
    calls = []
    for drawn in draws(60, 5).batch:
        calls.append((circuit(drawn), refrigerant("R134a"), entering_air(drawn), 278.0, 323.0, 0.4, 0.5))
    seen = counted(loop, LOOK_UPS, calls)
    look_ups = sum(seen.get(k, 0.0) for k in LOOK_UPS)
    costly = sum(v for k, v in seen.items() if k not in LOOK_UPS)
    least = look_ups * m.saturation_nanoseconds + costly * m.transcendental_nanoseconds
    limit = m.threads / (2.0 * least * 1e-9)
    listed = ", ".join(f"{k} {v:.1f}" for k, v in sorted(seen.items(), key=lambda item: -item[1]))
    return [
        f"One evaluation takes {m.nanoseconds:.0f} ns on one thread. It makes {look_ups:.0f} property look-ups "
        f"({m.saturation_nanoseconds:.0f} ns for a saturation state) and {costly:.0f} powers, exponentials, logarithms "
        f"and roots ({m.transcendental_nanoseconds:.0f} ns for a power): {least:.0f} ns if all else were free, "
        f"{100 * least / m.nanoseconds:.0f} % of what it takes. Counted: {listed}.",
        "",
        "A warm solve cannot do with fewer than two evaluations (see the balances, prove them closed), so these "
        f"formulas could not pass {limit:,.0f} loops/s here; warm starts reach "
        f"{100 * m.warm / limit:.0f} % of that. The rest "
        f"is the number of evaluations ({m.warm_evaluations:.1f} against 2) and arithmetic between the look-ups.",
        "",
    ]


def judging(count: int) -> list[str]:
    """Judgements, as a user waits for them."""
    from bench.judging import batch, new_process, one_judgement

    with tempfile.TemporaryDirectory() as folder:
        one = one_judgement(count, Path(folder))
        version, first = new_process(Path(folder))
        sheets = max(count, 10)
        spent = batch(Path(folder), sheets)
    start = min(max(first - one.median, 0.0), spent)  # paid once, however many sheets
    whole = (start + (spent - start) / sheets * 720) / 60.0
    memory = row("peak memory of a process that judges", f"{one.megabytes:.0f} MB", "600 MB", one.megabytes <= 600)
    return [
        "## Judgements",
        *HEAD,
        row(f"one judgement, ten readings, median of {one.sheets}",
            f"{one.median:.2f} s", "0.7 s; ambition 0.3 s", one.median <= 0.7),
        row("the same, 90th percentile", f"{one.worst_tenth:.2f} s", "-", None),
        memory if one.megabytes > 0 else row("peak memory", "not told by this system", "600 MB", None),
        row("`loopwright --version`, new process", f"{version:.2f} s", "0.3 s", version <= 0.3),
        row("first judgement, new process, warm cache", f"{first:.2f} s", "3 s", first <= 3.0),
        row(f"batch of 720 sheets, from {sheets}", f"{whole:.1f} min", "6 min", whole <= 6.0),
        "",
        "The batch is of vehicles of other physics with everything read (some 15 readings and 7 words each).",
        "",
    ]  # fmt: skip


def other(name: str) -> list[str]:
    """Run another room's benchmark where it is there: what it prints, or where its own page is."""
    if importlib.util.find_spec(f"bench.{name}") is None:
        return []
    done = subprocess.run([sys.executable, "-m", f"bench.{name}"], check=True, capture_output=True, text=True)
    title = name.removeprefix("bench_").replace("_", " ").capitalize()
    page = f"{name}.md"
    if (machine.RESULTS / page).exists():
        return [f"## {title}", "", f"Run anew; see [{page}]({page}).", ""]
    return [f"## {title}", "", "```", done.stdout.rstrip(), "```", ""]


def main() -> None:
    parser = argparse.ArgumentParser(
        prog="python -m bench", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("parts", nargs="*", default=[], metavar="PART", help="loops, judge, " + ", ".join(OTHERS))
    parser.add_argument("--loops", type=int, default=30_000, help="prior draws for the loops")
    parser.add_argument("--sheets", type=int, default=60, help="sheets for the judgements and the batch")
    a = parser.parse_args()
    parts = a.parts or ["loops", "judge", *OTHERS]
    text = ["# Speed", "", "Written by `python -m bench`.", "", *machine.lines("tespy"), ""]
    for part in parts:
        print(f"... {part}", flush=True)
        text += loops(a.loops) if part == "loops" else judging(a.sheets) if part == "judge" else other(part)
    REPORT.parent.mkdir(parents=True, exist_ok=True)
    REPORT.write_text("\n".join(text), encoding="utf-8", newline="\n")
    print("\n".join(text))


if __name__ == "__main__":
    main()
