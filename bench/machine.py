"""Where and with what a result was measured."""

from __future__ import annotations

import datetime
import os
import platform
import sys
from importlib import metadata
from pathlib import Path

RESULTS = Path(__file__).resolve().parent.parent / "docs" / "results"
PACKAGES = ("loopwright", "numpy", "numba", "scipy", "coolprop")


def processor() -> str:
    """Name of the processor as the system tells it."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.processor() or platform.machine()
    names = [line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.machine()


def busy() -> str:
    """Load of the machine over the last minute, where the system tells it; a shared machine measures slow."""
    load = getattr(os, "getloadavg", None)
    return "unknown" if load is None else f"{load()[0]:.1f}"


def lines(*more: str) -> list[str]:
    """Markdown lines: date, machine, versions of our own ground and of `more` packages."""
    versions = ", ".join(f"{p} {metadata.version(p)}" for p in (*PACKAGES, *more))
    return [
        f"- Measured {datetime.datetime.now(datetime.UTC):%Y-%m-%d %H:%M} UTC; load over the last minute {busy()}.",
        f"- {processor()}, {os.cpu_count()} cores; {platform.system()}; Python {sys.version.split()[0]}.",
        f"- {versions}.",
    ]
