"""Sheets about mass: hoses, disconnection, recovery, oil, charge, carbon dioxide equivalent."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from loopwright.language import say
from loopwright.service.charging import ChargeBand, compare_band, compare_charge, plan_charge
from loopwright.service.climate import carbon_dioxide_equivalent, reports
from loopwright.service.hoses import disconnection_loss, trapped_mass
from loopwright.service.leak_rate import YEAR
from loopwright.service.oil import OILS, balance_oil
from loopwright.service.recovery import judge_recovered, recovery_share, recovery_target
from loopwright.service.sheets.base import (
    AIR,
    Calculator,
    Field,
    Line,
    Result,
    grams,
    kilopascals,
    number,
    sea_level,
    words,
)
from loopwright.service.uncertain import NONE, Uncertain

__all__ = ["CARBON_DIOXIDE", "CHARGE", "DISCONNECT", "HOSE", "OIL", "RECOVERY"]

REFRIGERANT = Field("refrigerant", "text", "as identified: R134a, R1234yf, R152a, R12, R744")
PHASE = Field("phase", "choice", "what fills the hose", default="liquid", choices=("liquid", "vapour"))
BORE = Field("bore", "length", "inner diameter of the hose", "mm", limit=0.1e-3, least=1e-3, most=0.05)
LENGTH = Field("length", "length", "length of the hose", "m", relative=0.02, least=0.05, most=30.0)
CHARGE_TOLERANCE = 0.015  # kg, J2788 9.1, to compare trapped mass with


def _hose(x: Mapping[str, Any]) -> Result:
    manifold = x["manifold"] or NONE
    pressure = x["pressure"].absolute if x["pressure"] else None
    found = trapped_mass(x["refrigerant"], x["bore"], x["length"], x["phase"], x["temperature"], pressure, manifold)
    times = found.mass.value / CHARGE_TOLERANCE
    liquid, vapour = (
        say("The hose is taken to hold liquid, and to be full."),
        say("The hose is taken to hold vapour only."),
    )
    says = [vapour if found.phase == "vapour" else liquid]
    if times > 1.0:
        says.append(
            say(
                "That is {times:.1f} times the 15 g within which a machine must charge: clear or count the hoses.",
                times=times,
            )
        )
    lines = (
        grams(say("Trapped in hose and manifold"), found.mass),
        Line(say("Volume"), found.volume, "volume", "cm3"),
        number(say("Density"), found.density, "kg/m³"),
    )
    sources = ("coolprop-heos", "service-geometry", "cfr-40-82-b-app-c", "gum")
    return Result(found.phase, tuple(says), lines, sources, ("disconnect",))


HOSE = Calculator(
    "hose",
    "What a hose holds",
    "Mass trapped in a service hose and its share of the manifold.",
    (
        REFRIGERANT,
        BORE,
        LENGTH,
        PHASE,
        Field("temperature", "temperature", "of the refrigerant in the hose", "°C", limit=3.0),
        Field("pressure", "pressure", "at the hose; saturated without it", "kPa", False, limit=18e3),
        Field("manifold", "volume", "further volume, at the same state", "mL", False, relative=0.1),
        *AIR,
    ),
    _hose,
)


def _disconnect(x: Mapping[str, Any]) -> Result:
    open_volume = trapped_mass(x["refrigerant"], x["bore"], x["length"], "vapour", x["temperature"]).volume
    state = (x["phase"], x["temperature"], x["pressure"].absolute if x["pressure"] else None)

    def lost(closed: bool) -> Uncertain:
        return disconnection_loss(x["refrigerant"], closed, x["coupler"], open_volume, *state)

    closed, opened = lost(True), lost(False)
    now = closed if x["closed_first"] else opened
    says = [say("The low side loses less than the high side: its pressure, and so its density, is lower.")]
    if not x["closed_first"]:
        says.insert(0, say("With open couplers the whole hose empties into the air: close them first."))
    lines = (
        grams(say("Lost as planned"), now),
        grams(say("Couplers closed first"), closed),
        grams(say("Couplers open, at the least"), opened),
    )
    sources = ("common-practice", "coolprop-heos", "service-geometry", "cfr-40-82-b-app-a")
    return Result("closed" if x["closed_first"] else "open", tuple(says), lines, sources, ("disconnect",))


DISCONNECT = Calculator(
    "disconnect",
    "What taking a hose off loses",
    "Refrigerant lost when a service hose comes off, couplers closed first or not.",
    (
        REFRIGERANT,
        BORE,
        LENGTH,
        PHASE,
        Field("temperature", "temperature", "of the refrigerant in the hose", "°C", limit=3.0),
        Field("pressure", "pressure", "at the hose; saturated without it", "kPa", False, limit=18e3),
        Field("coupler", "volume", "dead volume of the coupler", "mL", default="1 mL", relative=0.7),
        Field("closed_first", "flag", "the coupler valve is closed before the hose comes off"),
        *AIR,
    ),
    _disconnect,
)


def _recovery(x: Mapping[str, Any]) -> Result:
    share = recovery_share(x["air_temperature"].value, x["machine"])
    since = x["time_since_fill"]
    found = judge_recovered(x["recovered"], x["expected"], share, x["hoses"] or NONE, since or None)
    says = [
        {
            "short": say("Less was in than expected: refrigerant was lost, or the last fill was short."),
            "over": say("More was in than expected: overcharged, or the label is another's."),
            "as_expected": say("No difference that this weighing can tell from none."),
        }[found.verdict],
        say("At 21 to 24 °C a machine to J2788 takes 95 % out in 30 min; colder, less."),
    ]
    lines = [
        grams(say("Was in the vehicle"), found.was_in),
        grams("Missing", found.missing),
        number(say("Share that the machine takes out"), share, ""),
        kilopascals(say("Recover to, absolute"), Uncertain(recovery_target(sea_level(x).value), sea_level(x).sigma)),
    ]
    if found.loss_rate is not None and found.smallest_rate is not None:
        lines.append(number(say("Mean loss"), _grams_a_year(found.loss_rate), "g/yr"))
        lines.append(number(say("Smallest mean loss it could show"), found.smallest_rate * YEAR * 1e3, "g/yr"))
        says.append(say("A mean says nothing of when: a broken joint, a service and a slow leak look alike."))
        says.append(say("For scale: 40 g/yr is the limit for a new car with one evaporator (2006/40/EC)."))
    else:
        says.append(say("Without the date of the last full charge no rate can be named."))
    sources = ("cfr-40-82-b-app-c", "cfr-40-82-b-app-d", "sae-j2762-summary", "cfr-40-82-156", "eu-2006-40", "gum")
    return Result(found.verdict, tuple(says), tuple(lines), sources, ("recover_first", "fill_limit"))


def _grams_a_year(rate: Uncertain) -> Uncertain:
    return Uncertain(rate.value * YEAR * 1e3, rate.sigma * YEAR * 1e3)


RECOVERY = Calculator(
    "recovery",
    "Recovered against expected",
    "What the recovered mass says about what was in, and about a leak.",
    (
        Field("recovered", "mass", "as the machine shows it", "g", limit=0.030),
        Field("expected", "mass", "label charge, or the last fill", "g", limit=0.015),
        Field("air_temperature", "temperature", "of the vehicle", "°C", default="22 °C", limit=2.0),
        Field("machine", "choice", "kind of machine", default="current", choices=("current", "older")),
        Field("hoses", "mass", "that the machine took from the hoses", "g", False, relative=0.3),
        Field("time_since_fill", "time", "since the charge was surely right", "d", False, exact=True, least=86400.0),
        *AIR,
    ),
    _recovery,
)


def _oil(x: Mapping[str, Any]) -> Result:
    drained = {"compressor": x["compressor_drained"]} if x["compressor_drained"] is not None else {}
    found = balance_oil(x["recovered"], x["replaced"], drained, x["compressor"], x["oil"], x["maker_oil"] or None)
    lines = [Line(say("New oil to add"), found.add, "volume", "mL")]
    lines += [Line(f"  {label}", amount, "volume", "mL") for label, amount in found.lines]
    says = (*found.refusals, *found.remarks, say("The vehicle maker's amounts come first; these are generic."))
    sources = ("cfr-40-82-b-app-c", "cfr-40-82-b-app-a", "oil-practice", "electric-compressor-oil", "gum")
    cautions = ("electric_oil",) if x["compressor"] == "electric" else ()
    return Result("refused" if found.refusals else "add", says, tuple(lines), sources, cautions)


OIL = Calculator(
    "oil",
    "Oil balance",
    "New oil for what left with refrigerant and parts, and whether that oil may go in.",
    (
        Field("recovered", "volume", "oil recovered, degassed", "mL", limit=20e-6),
        Field(
            "replaced",
            "list",
            "parts replaced: condenser, evaporator, drier, accumulator, hose, compressor",
            required=False,
        ),
        Field("compressor_drained", "volume", "oil drained from the old compressor", "mL", False, limit=5e-6),
        Field("compressor", "choice", "its kind", choices=("fixed", "variable", "electric")),
        Field("oil", "choice", "what is about to go in", choices=OILS),
        Field("maker_oil", "choice", "what the vehicle maker names", required=False, choices=OILS),
    ),
    _oil,
)


def _charge(x: Mapping[str, Any]) -> Result:
    start, end = x["hoses_at_start"] or NONE, x["hoses_at_end"] or NONE
    found = plan_charge(x["label"], x["tolerance"], x["rear"] or 0.0, x["scale_limit"], start, end)
    lines = [
        grams(say("Set the scale to"), found.setting),
        grams(say("Then in the vehicle"), found.inside),
        words(say("Meets the label's tolerance"), say("{count:.0f} of 100", count=100 * found.within)),
        words(say("Scale over charge"), say("{share:.1f} %", share=100 * x["scale_limit"] / found.target)),
    ]
    says = [say("By mass, to the label. Pressure says nothing of the charge while liquid is present.")]
    if found.within < 0.95:
        says.append(say("Scale and hoses cannot be sure of this tolerance: use a finer scale, and clear the hoses."))
    if x["inferred"] is not None or x["judgement"] is not None:
        extra, sentence = _beside(Uncertain(found.target, found.inside.sigma), x["inferred"], x["judgement"])
        lines += extra
        says.append(sentence)
    return Result("set", tuple(says), tuple(lines), ("cfr-40-82-b-app-c", "gum"), ("charge_by_mass", "flammable"))


def _beside(target: Uncertain, inferred: Uncertain | None, band: ChargeBand | None) -> tuple[list[Line], str]:
    """The charge that a performance test tells, beside the one planned; a judgement counts before a number typed."""
    lines = []
    if band is not None:
        low, middle, high = (f"{1e3 * mass:.0f}" for mass in (band.low, band.median, band.high))
        text = say("{middle} g ({low} to {high}), {count:.0f} of 100",
                   middle=middle, low=low, high=high, count=100 * band.level)  # fmt: skip
        lines.append(words(say("Charge that the test tells"), text))
        beside = compare_band(target, band)
    else:
        beside = compare_charge(target, inferred or NONE)
    lines.append(grams(say("Test's charge less the label's"), beside.difference))
    if beside.agrees:
        return lines, say("The performance test agrees with that charge; that is no proof of it.")
    return lines, say("The performance test speaks for another charge: recover and weigh.")


CHARGE = Calculator(
    "charge",
    "Charge by mass",
    "What to set on the scale, what then is in, and whether that meets the label.",
    (
        Field("label", "mass", "charge on the label", "g", exact=True),
        Field("tolerance", "mass", "half-width of the label's tolerance", "g", default="20 g", exact=True),
        Field("rear", "mass", "what a rear evaporator adds, if not in the label", "g", False, exact=True),
        Field("scale_limit", "mass", "what the scale may be wrong by", "g", default="15 g", exact=True),
        Field("hoses_at_start", "mass", "in the hoses when the scale is zeroed", "g", False, relative=0.1),
        Field("hoses_at_end", "mass", "in the hoses when the couplers close", "g", False, relative=0.1),
        Field("inferred", "mass", "charge that the performance test tells, with its ±", "g", False, relative=0.15),
        Field("judgement", "judgement", "or the judgement of that test, as `judge --json` prints it", required=False),
    ),
    _charge,
)


def _carbon_dioxide(x: Mapping[str, Any]) -> Result:
    found = carbon_dioxide_equivalent(x["mass"], x["refrigerant"], x["report"])
    bound = say("at most ") if found.at_most else ""
    lines = (
        Line(say("CO2 equivalent ({bound}{report})", bound=bound, report=x["report"]), found.mass, "mass", "kg"),
        number(say("GWP over 100 years"), found.gwp, ""),
        words(say("Report"), say(found.words)),
    )
    says = (say("Another report gives another number: compare only within one. The factor is taken as exact."),)
    return Result(x["report"], says, lines, (found.source,))


CARBON_DIOXIDE = Calculator(
    "co2e",
    "CO2 equivalent",
    "Carbon dioxide with the same warming over 100 years, by a named assessment report.",
    (
        REFRIGERANT,
        Field("mass", "mass", "of refrigerant", "g", relative=0.0),
        Field("report", "choice", "assessment report of the IPCC", choices=tuple(reports())),
    ),
    _carbon_dioxide,
)
