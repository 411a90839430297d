"""Sheets about what stands: foreign gas in vehicle or cylinder, and how much a cylinder may take."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.service.cylinders import HEEL_SHARE, Cylinder, fill_limit, volume_of, water_rule_share
from loopwright.service.foreign_gas import ForeignGas, Soak, judge_foreign_gas, limit_of, liquid_present
from loopwright.service.properties import designation
from loopwright.service.sheets.base import AIR, Calculator, Field, Line, Result, grams, kilopascals, number, words
from loopwright.service.uncertain import Uncertain

__all__ = ["CYLINDER", "FOREIGN_GAS"]

REFRIGERANT = Field("refrigerant", "text", "as identified: R134a, R1234yf, R152a, R12")


def _foreign_gas(x: Mapping[str, Any]) -> Result:
    if x["pressure"].barometer_sigma and x["atmosphere"] is None:
        says = say("A gauge reading needs the local air pressure: 1500 m shift this test by 17 kPa, half of its limit.")
        raise InputError([Problem("barometer", say("nothing"), say("barometer or altitude"), says)])
    temperature = x["temperature"]
    coldest = x["coldest"].value if x["coldest"] else temperature.value
    warmest = x["warmest"].value if x["warmest"] else temperature.value
    soak = Soak(
        x["soak"] / 3600.0,
        min(coldest, temperature.value),
        max(warmest, temperature.value),
        x["in_sun"],
        _liquid(x),
        not x["sides_differ"],
    )
    found = judge_foreign_gas(
        x["refrigerant"],
        x["kind"],
        x["pressure"].reading,
        x["pressure"].barometer_sigma,
        temperature,
        soak,
        x["volume"],
        x["contents"],
    )
    return Result(
        found.verdict,
        _says(found, x["kind"], x["refrigerant"]),
        _foreign_gas_lines(found),
        _sources(x),
        ("bleed", "identify"),
    )


def _liquid(x: Mapping[str, Any]) -> bool | None:
    """As seen; else by mass and volume, where both are known."""
    if x["liquid"] != "unknown":
        return bool(x["liquid"] == "yes")
    if x["volume"] is None or x["contents"] is None:
        return None
    return liquid_present(x["refrigerant"], x["temperature"].value, x["volume"], x["contents"])


def _says(found: ForeignGas, kind: str, refrigerant: str) -> tuple[str, ...]:
    if found.verdict == "no_conclusion":
        return (say("No conclusion."), *found.reasons)
    excess = (
        say("its limit")
        if kind == "cylinder"
        else say("the limit of a stored cylinder, taken for want of one for vehicles")
    )
    first = {
        "pass": say("What is no refrigerant stays below {limit}.", limit=excess),
        "fail": say("Too much foreign gas: above {limit}.", limit=excess),
        "cannot_tell": say(
            "Too close to {limit} for these instruments: better thermometer, barometer, or repeat.", limit=excess
        ),
    }[found.verdict]
    if designation(refrigerant) not in ("R134a", "R1234yf"):
        return first, say("This holds only for the refrigerant identified.")
    return first, say("Pressure cannot tell R-134a from R-1234yf: this holds only for the refrigerant identified.")


def _foreign_gas_lines(found: ForeignGas) -> tuple[Line, ...]:
    gauge, barometer, thermometer = (x / 1e3 for x in found.shares)
    budget = say(
        "gauge {gauge:.1f}, barometer {barometer:.1f}, thermometer {thermometer:.1f} kPa",
        gauge=gauge,
        barometer=barometer,
        thermometer=thermometer,
    )
    lines = [
        kilopascals(say("Above saturation"), found.partial_pressure),
        kilopascals(say("Limit above saturation"), Uncertain(found.limit)),
        words(say("Chance that it is above the limit"), say("{count:.0f} of 100", count=100 * found.above)),
        words(say("One sigma from"), budget),
    ]
    if found.mass is not None and found.parts is not None and found.verdict != "no_conclusion":
        lines.append(grams(say("Foreign gas, if air, at the least"), found.mass))
        lines.append(number(say("Of the contents, by mass"), _ppm(found.parts), "ppm"))
    return tuple(lines)


def _ppm(share: Uncertain) -> Uncertain:
    return Uncertain(1e6 * share.value, 1e6 * share.sigma)


def _sources(x: Mapping[str, Any]) -> tuple[str, ...]:
    return *limit_of(x["refrigerant"]).source, "cfr-40-82-b-app-a", "coolprop-heos", "gum"


FOREIGN_GAS = Calculator(
    "foreign-gas",
    "Standing test for foreign gas",
    "Whether a soaked cylinder or vehicle holds gas that is no refrigerant.",
    (
        REFRIGERANT,
        Field("kind", "choice", "what stands there", choices=("cylinder", "vehicle")),
        Field("pressure", "pressure", "after the soak", "kPa", limit=6.9e3),
        Field("temperature", "temperature", "of the contents: probe on metal or within 10 cm", "°C", limit=0.5),
        Field("soak", "time", "how long it stood", "h", exact=True),
        Field("coldest", "temperature", "coldest place, the soak's lowest", "°C", False, limit=0.5),
        Field("warmest", "temperature", "warmest place", "°C", False, limit=0.5),
        Field("in_sun", "flag", "it stood in the sun"),
        Field("liquid", "choice", "liquid is present", default="unknown", choices=("yes", "no", "unknown")),
        Field("sides_differ", "flag", "both sides of a vehicle show different pressures"),
        Field("volume", "volume", "inner volume, for the mass", "L", False, relative=0.05, least=1e-4),
        Field("contents", "mass", "refrigerant in it, for the mass", "kg", False, relative=0.05),
        *AIR,
    ),
    _foreign_gas,
)


def _cylinder(x: Mapping[str, Any]) -> Result:
    if (x["water_capacity"] is None) == (x["volume"] is None):
        says = say("A cylinder's size is its water capacity (WC on the collar) or its volume.")
        raise InputError(
            [Problem("water_capacity", say("neither or both"), say("one of water_capacity and volume"), says)]
        )
    cylinder = Cylinder(
        x["refrigerant"],
        x["kind"],
        x["tare"],
        x["volume"] or volume_of(x["water_capacity"]),
        x["gross_rating"],
        x["requalified"],
        int(x["requalification_years"]),
    )
    found = fill_limit(cylinder, x["weight"], x["today"])
    lines = [
        Line(say("May be added"), Uncertain(found.room), "mass", "kg"),
        Line(say("Holds now"), found.contents, "mass", "kg"),
    ]
    for i, rule in enumerate(found.rules):
        lines.append(Line((say("Lowest: ") if i == 0 else "") + rule.says, rule.most, "mass", "kg"))
    lines.append(kilopascals(say("Pressure at 52 °C, absolute"), Uncertain(found.pressure_at_storage)))
    if found.full_at is not None:
        lines.append(Line(say("Its contents would fill it at"), Uncertain(found.full_at), "temperature", "°C"))
    if x["kind"] == "disposable":
        full = next(rule.most for rule in found.rules if rule.key == "liquid_80").value
        lines.append(Line(say("Heel to leave, at most 2 % of its fill"), Uncertain(HEEL_SHARE * full), "mass", "kg"))
    if cylinder.due is not None:
        lines.append(words(say("Requalification due"), cylinder.due.isoformat()))
    share = 100 * water_rule_share(x["refrigerant"])
    remarks = (
        *found.refusals,
        say(
            "80 % of the water capacity by mass, without the density, would be {share:.0f} % liquid at 21 °C.",
            share=share,
        ),
        say(
            "60 % of gross weight is read as the refrigerant's mass; the text does not say whether the cylinder counts."
        ),
    )
    sources = tuple(dict.fromkeys(rule.source for rule in found.rules))
    verdict = "refused" if found.refusals else "room" if found.room > 0.0 else "full"
    cautions = ("fill_limit", "storage", *(("disposable",) if x["kind"] == "disposable" else ()))
    return Result(verdict, remarks, tuple(lines), (*sources, "coolprop-heos", "storage-practice"), cautions)


CYLINDER = Calculator(
    "cylinder",
    "How much a cylinder may take",
    "Every fill limit that applies, the lowest, and what may be added now.",
    (
        REFRIGERANT,
        Field("kind", "choice", "by its marking", choices=("refillable", "disposable")),
        Field("tare", "mass", "TW on the collar", "kg", relative=0.002),
        Field("weight", "mass", "on the scale now", "kg", limit=0.05),
        Field("water_capacity", "mass", "WC on the collar", "kg", False, relative=0.01, least=0.1),
        Field("volume", "volume", "inner volume, where no WC is marked", "L", False, relative=0.01, least=1e-4),
        Field("gross_rating", "mass", "gross weight rating, where marked", "kg", False, exact=True, least=0.1),
        Field("requalified", "date", "last requalification (year-month-day)", required=False),
        Field(
            "requalification_years",
            "number",
            "interval: 5; 7, 10 or 12 in special cases",
            default="5",
            least=1.0,
            most=15.0,
        ),
        Field("today", "date", "day of the fill; today without it", required=False),
    ),
    _cylinder,
)
