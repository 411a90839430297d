"""What the readings tell of the circuit, as rows of words: the same for every face."""

from __future__ import annotations

from loopwright.diagnosis.judgement import Judgement
from loopwright.figures.terms import SI, Terms, interval
from loopwright.language import decimal, say
from loopwright.quantities import Kind

__all__ = ["state_rows"]


def state_rows(judgement: Judgement, terms: Terms = SI) -> list[tuple[str, str]]:
    """Return each state that the judgement holds: its name, and its median with the interval in the person's units.

    >>> from types import SimpleNamespace
    >>> from loopwright.diagnosis.judgement import Interval
    >>> state_rows(SimpleNamespace(states={"superheat": Interval(5.0, 8.0, 12.0)}))
    [('Superheat at the evaporator', '8 K (5 to 12)')]
    """
    rows: list[tuple[str, str]] = []
    if capacity := judgement.states.get("cooling_capacity"):
        low, median, high = (decimal(v / 1e3, 1) for v in (capacity.low, capacity.median, capacity.high))
        between = say("{median} kW ({low} to {high})", median=median, low=low, high=high)
        rows.append((say("Cooling capacity"), between))
    temperature = terms.unit("temperature").symbol
    shown: tuple[tuple[str, str, Kind, str], ...] = (
        (say("Superheat at the evaporator"), "superheat", "temperature_difference", terms.difference()),
        (say("Subcooling of the liquid"), "subcooling", "temperature_difference", terms.difference()),
        (say("Evaporates at"), "evaporating_temperature", "temperature", temperature),
        (say("Condenses at"), "condensing_temperature", "temperature", temperature),
        (say("Charge in the circuit"), "charge", "mass", "g"),
    )
    return rows + [
        (name, interval(of, kind, unit)) for name, key, kind, unit in shown if (of := judgement.states.get(key))
    ]
