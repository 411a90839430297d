"""How much a cylinder may take: every rule that applies, the lowest, and what stands against filling at all."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Literal

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.service.properties import (
    designation,
    full_temperature,
    liquid_density,
    vapour_density,
    vessel_pressure,
)
from loopwright.service.uncertain import Uncertain, propagate

__all__ = ["Cylinder", "Fill", "Rule", "fill_limit", "liquid_share", "water_rule_share"]

WATER_DENSITY = 998.0  # kg/m3 at 21 °C: what a marked water capacity in kilograms is divided by
RATED, FULL, STORED = 294.15, 328.15, 325.15  # K: 21 °C (J2788 7.2), 55 °C (49 CFR 173.304(b)), 52 °C (storage cap)
LIQUID_SHARE = 0.80  # of the volume at 21 °C
GROSS_SHARE = 0.60  # of the gross weight rating (J1989 7.2)
HEEL_SHARE = 0.02  # of the rated capacity of a disposable (J2788 7.3.5)
FILLING_DENSITY = {"R12": 1.19, "R152a": 0.79, "R744": 0.68}  # of water weight, 49 CFR 173.304a(a)(2)


@dataclass(frozen=True)
class Cylinder:
    """A cylinder by its markings.

    `water_capacity` [kg] (or `volume` [m3]); `tare` [kg]; `gross_rating` [kg] where marked; `kind`; `requalified` the
    last date, `requalification_years` its interval (5; 7, 10 or 12 in special cases, 49 CFR 180.209).
    """

    refrigerant: str
    kind: Literal["refillable", "disposable"]
    tare: Uncertain
    volume: Uncertain
    gross_rating: float | None = None
    requalified: datetime.date | None = None
    requalification_years: int = 5

    @property
    def due(self) -> datetime.date | None:
        """The day on which requalification is due."""
        if self.requalified is None:
            return None
        day = self.requalified
        year = day.year + self.requalification_years
        try:
            return day.replace(year=year)
        except ValueError:  # 29 February
            return datetime.date(year, 3, 1)


@dataclass(frozen=True)
class Rule:
    """One limit: its key, in words, the most refrigerant [kg] it allows, its source."""

    key: str
    says: str
    most: Uncertain
    source: str


@dataclass(frozen=True)
class Fill:
    """What a cylinder may take.

    `rules` lowest first; `limit` the lowest; `contents` now [kg]; `room` [kg] to add, two sigma kept back, zero where
    `refusals` say why it is not to be filled; `full_at` [K] where the present contents would fill it with
    liquid; `pressure_at_storage` [Pa, absolute] of them at 52 °C.
    """

    rules: tuple[Rule, ...]
    limit: Uncertain
    contents: Uncertain
    room: float
    refusals: tuple[str, ...]
    full_at: float | None
    pressure_at_storage: float


def volume_of(water_capacity: Uncertain) -> Uncertain:
    """Return the inner volume [m3] of a cylinder of a marked water capacity [kg].

    >>> round(volume_of(Uncertain(21.6)).value * 1e3, 2)
    21.64
    """
    return propagate(lambda m: m / WATER_DENSITY, water_capacity)


def fill_limit(cylinder: Cylinder, weight: Uncertain, today: datetime.date) -> Fill:
    """Return every limit that applies to a cylinder, the lowest of them, and the room left.

    Parameters
    ----------
    cylinder : by its markings
    weight : on the scale now, cylinder and contents [kg]
    today : the day of the fill

    60 % of gross weight is read as the refrigerant's mass; the text does not say whether the cylinder counts with it.
    Sources: each rule names its own. Contents that are a mixture have no limit here: they are not to be mixed further.

    Raises
    ------
    InputError : weight below tare, a size not above zero, unknown refrigerant

    >>> c = Cylinder("R134a", "refillable", Uncertain(12.7), Uncertain(21.6e-3), 34.0, datetime.date(2024, 3, 1))
    >>> f = fill_limit(c, Uncertain(20.0, 0.05), datetime.date(2026, 1, 1))
    >>> f.rules[0].key, round(f.limit.value, 2), round(f.room, 2), f.refusals
    ('gross_60', 20.4, 13.0, ())
    """
    _check(cylinder, weight)
    rules = tuple(sorted(_rules(cylinder), key=lambda rule: rule.most.value))
    limit = rules[0].most
    contents = propagate(lambda w, t: w - t, weight, cylinder.tare)
    left = propagate(lambda a, w, t: a - (w - t), limit, weight, cylinder.tare)
    refusals = _refusals(cylinder, left, today)
    return Fill(
        rules,
        limit,
        contents,
        0.0 if refusals else max(left.value - 2.0 * left.sigma, 0.0),
        refusals,
        full_temperature(cylinder.refrigerant, max(contents.value, 1e-6) / cylinder.volume.value),
        vessel_pressure(cylinder.refrigerant, STORED, max(contents.value, 1e-6), cylinder.volume.value),
    )


def liquid_share(refrigerant: str, density: float, temperature: float) -> float:
    """Return the share of a vessel that liquid fills at a mean density [kg/m3] and temperature [K]; above 1 it is full.

    Raises
    ------
    InputError : unknown refrigerant, or no liquid at that temperature

    >>> round(liquid_share("R134a", 977.0, 325.15), 3)
    0.887
    """
    rho_l, rho_v = liquid_density(refrigerant, temperature), vapour_density(refrigerant, temperature)
    return (density - rho_v) / (rho_l - rho_v)


def water_rule_share(refrigerant: str) -> float:
    """Return the liquid share at 21 °C that "80 % of the water capacity by mass" gives: the density is left out of it.

    Raises
    ------
    InputError : unknown refrigerant

    >>> [round(water_rule_share(r), 2) for r in ("R134a", "R1234yf", "R152a")]
    [0.65, 0.72, 0.88]
    """
    return LIQUID_SHARE * WATER_DENSITY / liquid_density(refrigerant, RATED)


def _rules(c: Cylinder) -> list[Rule]:
    name = c.refrigerant
    rules = [
        Rule(
            "liquid_80",
            say("liquid at most 80 % of the volume at 21 °C"),
            propagate(lambda V: LIQUID_SHARE * V * liquid_density(name, RATED), c.volume),
            "cfr-40-82-b-app-c-fill",
        ),
    ]
    if designation(name) != "R744":  # supercritical at 55 °C: its filling density says it all
        full = propagate(lambda V: V * liquid_density(name, FULL), c.volume)
        rules.append(Rule("not_full_55", say("not full of liquid at 55 °C"), full, "cfr-49-173"))
    if (share := FILLING_DENSITY.get(designation(name))) is not None:
        most = propagate(lambda V: share * V * WATER_DENSITY, c.volume)
        rules.append(
            Rule(
                "filling_density", say("filling density {share:.0f} % of water", share=100 * share), most, "cfr-49-173"
            )
        )
    if c.gross_rating is not None:
        by_weight = Uncertain(GROSS_SHARE * c.gross_rating)
        says = say("refrigerant at most 60 % of the gross weight rating")
        rules.append(Rule("gross_60", says, by_weight, "cfr-40-82-b-app-a"))
        rest = propagate(lambda t: c.gross_rating - t if c.gross_rating else 0.0, c.tare)
        rules.append(Rule("gross", say("cylinder and contents within the gross weight rating"), rest, "cfr-49-173"))
    return rules


def _refusals(c: Cylinder, left: Uncertain, today: datetime.date) -> tuple[str, ...]:
    found = []
    if c.kind == "disposable":
        found.append(say("A disposable cylinder (DOT-39) is never refilled."))
    elif c.due is None:
        found.append(say("The date of the last requalification is not known: read it on the collar before filling."))
    elif today >= c.due:
        found.append(say("Requalification was due on {due}: do not fill it.", due=c.due.isoformat()))
    if left.value + 2.0 * left.sigma < 0.0:
        found.append(say("It already holds more than the limit: take the excess out into another cylinder."))
    return tuple(found)


def _check(c: Cylinder, weight: Uncertain) -> None:
    problems = []
    if not c.volume.value > 0.0:
        problems.append(Problem("volume", f"{c.volume.value:g} m3", say("above zero"), say("No volume.")))
    if not c.tare.value > 0.0:
        problems.append(Problem("tare", f"{c.tare.value:g} kg", say("above zero"), say("No cylinder weighs nothing.")))
    if weight.value + 2.0 * weight.sigma < c.tare.value:
        says = say("Lighter than the empty cylinder: wrong tare, or the scale is off.")
        problems.append(
            Problem("weight", f"{weight.value:g} kg", say("at least the tare, {tare:g} kg", tare=c.tare.value), says)
        )
    if problems:
        raise InputError(problems)
