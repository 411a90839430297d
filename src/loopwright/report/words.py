"""The report's own fixed words, and how it writes amounts and moments."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime

from loopwright.language import decimal, later, moment, say
from loopwright.report.values import Movement, Report, Run

__all__ = ["CHOICES", "OBSERVED", "OBTAINED", "grams", "momentous", "run_title", "summed", "title", "when"]

_MOMENTS = {"before": later("Before the service"), "after": later("After the service"), "alone": later("The test")}

# The words of a sheet that stand for a choice, as a person reads them.
CHOICES = {
    "thermostatic": later("thermostatic valve"),
    "orifice": later("orifice tube"),
    "receiver": later("receiver-drier"),
    "accumulator": later("accumulator"),
    "fixed": later("fixed displacement"),
    "variable": later("variable displacement"),
    "electric": later("electric"),
    "discharge_line": later("on the discharge line"),
    "liquid_line": later("on the liquid line"),
    "low": later("low"),
    "medium": later("medium"),
    "high": later("high"),
    "fresh": later("fresh air"),
    "recirculated": later("recirculated air"),
}
OBSERVED = {
    "hot": later("feels hot"),
    "warm": later("feels warm"),
    "neutral": later("feels like the air"),
    "cool": later("feels cool"),
    "cold": later("feels cold"),
    "frost": later("frost on it"),
    "cold_spot": later("a cold spot"),
    "normal": later("air flow normal"),
    "weak": later("air flow weak"),
    "none": later("no air flow"),
    "clear": later("clear"),
    "bubbles": later("bubbles"),
    "foam": later("foam"),
    "oil_streaks": later("oil streaks"),
    "cloudy": later("cloudy"),
    "running": later("running"),
    "stopped": later("stopped"),
    "engaged": later("engaged"),
    "cycling": later("cycling"),
    "not_engaged": later("not engaged"),
}
OBTAINED = {
    "page": later("read in a public page"),
    "repository": later("read in a public repository"),
    "memory": later("from memory"),
    "computed": later("computed"),
    "practice": later("common practice, no source"),
}


def title(report: Report) -> str:
    """Name the document by what it holds."""
    if not report.runs:
        return say("Air-conditioning service report")
    served = report.steps or report.refrigerant.movements or any(run.moment != "alone" for run in report.runs)
    return say("Air-conditioning test and service report") if served else say("Air-conditioning test report")


def momentous(run: Run, runs: Sequence[Run]) -> str:
    """Say which test this is, empty where there is only one and it stands alone."""
    return "" if len(runs) == 1 and run.moment == "alone" else say(_MOMENTS[run.moment])


def run_title(run: Run, runs: Sequence[Run]) -> str:
    """Say which test this is and when it was made."""
    name = momentous(run, runs) or say("The test")
    return f"{name} · {moment(run.when)}" if run.when else name


def when(at: datetime | None) -> str:
    """Write a moment, empty where it is not known."""
    return "" if at is None else moment(at)


def grams(mass: float, uncertainty: float = 0.0) -> str:
    """Write a mass [kg] with its standard uncertainty [kg] in grams, to what it is worth.

    >>> grams(0.352, 0.005), grams(0.0123, 0.0004), grams(0.8)
    ('352 g ± 5 g', '12.3 g ± 0.4 g', '800 g')
    """
    places = 0 if uncertainty == 0.0 or uncertainty >= 0.001 else 1
    beside = f" ± {decimal(1e3 * uncertainty, places)} g" if uncertainty > 0.0 else ""
    return f"{decimal(1e3 * mass, places)} g{beside}"


def summed(movements: Sequence[Movement], direction: str) -> str:
    """Sum what moved in one direction, uncertainties in quadrature; empty where nothing did.

    >>> summed([Movement("a", 0.3, 0.003, "out"), Movement("b", 0.1, 0.004, "out")], "out")
    '400 g ± 5 g'
    """
    found = [m for m in movements if m.direction == direction]
    return grams(sum(m.mass for m in found), math.hypot(*(m.uncertainty for m in found))) if found else ""
