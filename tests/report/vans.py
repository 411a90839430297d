"""The vehicles of these tests: sheets that come with the package, judged once for all tests of this folder."""

from __future__ import annotations

import copy
import io
import re
import tomllib
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Any

import pypdf

import loopwright
from loopwright.readings import read
from loopwright.report import Deviation, Movement, Person, Refrigerant, Report, Run, Shop, Step

MADE = datetime(2026, 11, 25, 15, 10)
MENDED = {"23 psi": "31 psi", "145 psi": "235 psi", "59 °F": "46 °F"}  # the van's readings after its service


def sheet(name: str) -> dict[str, Any]:
    return tomllib.loads((files("loopwright.cli") / "vehicles" / f"{name}.toml").read_text(encoding="utf-8"))


def mended() -> dict[str, Any]:
    after = copy.deepcopy(sheet("van_short_of_refrigerant"))
    for reading in after["readings"]:
        reading["value"] = MENDED.get(reading["value"], reading["value"])
    after["observations"][0]["value"] = "cold"
    return after


@cache
def judged(name: str, moment: Any = "alone") -> Run:
    """One test of a demo vehicle; the van "after" is the mended one."""
    written = mended() if moment == "after" else sheet(name)
    return Run(read(written), loopwright.judge(written), moment, MADE)


def before_and_after() -> tuple[Run, Run]:
    return judged("van_short_of_refrigerant", "before"), judged("van_short_of_refrigerant", "after")


def whole(**changed: Any) -> Report:
    """A report that has every part."""
    parts: dict[str, Any] = {
        "made": MADE,
        "shop": Shop("Harbour Road Garage", "14 Harbour Road\nSouthport", "555 0134"),
        "technician": Person("Kim Alvarez", "certificate 4471"),
        "job": "1042-B",
        "customer": "R. Okafor",
        "vehicle": "Delivery van",
        "plate": "HRB 214",
        "vin": "1FTEX1E80KKD00001",
        "odometer": "128 400 km",
        "runs": before_and_after(),
        "steps": (
            Step("Identify the refrigerant", "R-134a, 99.8 %", "Kim Alvarez", MADE),
            Step("Recover", "352 g", "Kim Alvarez", MADE),
            Step("Charge", "800 g", "Kim Alvarez", MADE),
        ),
        "deviations": (Deviation("Clear the hoses", "No hose recovery on this machine.", "Kim Alvarez", MADE),),
        "refrigerant": Refrigerant(
            (
                Movement("Vehicle to cylinder 7", 0.352, 0.003, "out", MADE),
                Movement("Cylinder 3 to vehicle", 0.798, 0.004, "in", MADE),
                Movement("Left in the hoses", 0.0402, 0.0004),
            ),
            "The cylinders agree with the scale.",
            0.002,
            0.005,
        ),
        "notes": ("Warm air since August.",),
    }
    return Report(**{**parts, **changed})


def plain(text: str) -> str:
    """Text as the eye reads it: without the marks at which long words may break, and with single blanks."""
    return re.sub(r"\s+", " ", text.replace("\u200b", "")).strip()


def squeezed(text: str) -> str:
    """Text without any blank, for what runs over several lines."""
    return re.sub(r"\s", "", text.replace("\u200b", ""))


def read_back(data: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(data))


def pages(data: bytes) -> list[str]:
    return [page.extract_text() for page in read_back(data).pages]
