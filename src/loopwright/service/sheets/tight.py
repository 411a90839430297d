"""Sheets about dryness and tightness: evacuation, standing rise, nitrogen hold, leak rates."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from loopwright.errors import InputError, Problem
from loopwright.language import decimal_mark, say
from loopwright.service.evacuation import boiling_margin, evacuation_target, evacuation_time
from loopwright.service.leak_rate import ATMOSPHERE, OUNCE, YEAR, equivalent_leak, mass_rate, throughput
from loopwright.service.pressure_hold import RUNNING_PRESSURE, judge_hold
from loopwright.service.rise_curve import Estimate, RiseFit, VacuumGauge, fit_rise
from loopwright.service.sheets.base import AIR, Calculator, Field, Line, Result, kilopascals, number, sea_level, words
from loopwright.service.uncertain import NONE, Uncertain

__all__ = ["EVACUATION", "HOLD", "LEAK_RATE", "RISE"]

SMALL_LEAK = 0.040 / YEAR  # kg/s, what a vacuum hold cannot see
VOLUME = Field(
    "volume", "volume", "circuit with hoses up to the closed valve", "L", default="3 L", relative=0.25, least=1e-4
)
COLDEST = Field("coldest", "temperature", "coldest part of the circuit", "°C", limit=2.0)


def _evacuation(x: Mapping[str, Any]) -> Result:
    atmosphere, cold = sea_level(x), x["coldest"]
    target = evacuation_target(cold, atmosphere)
    time = evacuation_time(
        x["volume"], x["pump"], x["pump_ultimate"], x["bore"], x["length"], target.target.value, x["water"] or NONE,
        cold.value, atmosphere.value,
    )  # fmt: skip
    minutes = Uncertain(time.mean.value / 60.0, time.mean.sigma / 60.0)
    lines = [
        Line(say("Work to, absolute"), target.target, "pressure_difference", "Pa"),
        Line(say("Water boils at the coldest part below"), target.boiling, "pressure_difference", "Pa"),
        Line(say("  as a gauge of vacuum shows it here"), target.vacuum, "pressure_difference", "inHg"),
        Line(say("98 % free of air below"), target.air_free, "pressure_difference", "Pa"),
        Line(say("Customary at the end, vehicles"), Uncertain(target.practice), "pressure_difference", "Pa"),
        Line(say("Customary deep vacuum"), Uncertain(target.deep), "pressure_difference", "Pa"),
        number(say("Predicted time, at the least"), minutes, "min"),
        words(say("  19 of 20 between"), say("{low:.1f} and {high:.1f} min", low=time.low / 60, high=time.high / 60)),
    ]
    says = [say("Predicted is pump, hoses and water alone: heat for the water and refrigerant in the oil take longer.")]
    verdict = "planned"
    if x["reached"] is not None:
        margin = boiling_margin(x["reached"].absolute, cold)
        lines.insert(0, number(say("Water pressure over pressure reached"), margin, ""))
        sure = margin.probability_above(1.0)
        verdict = "boils" if sure >= 0.95 else "does_not_boil" if sure <= 0.05 else "cannot_tell"
        says.insert(0, _boiling_sentence(verdict))
    if cold.value < 288.15:
        says.append(say("Below 15 °C a service pump hardly dries: warm the vehicle first."))
    sources = (
        "coolprop-heos", "cfr-40-82-b-app-c-fill", "tm-5-3805-296", "mac-vacuum-practice", "deep-vacuum-practice",
        "vacuum-conductance", "jcgm-101",
    )  # fmt: skip
    return Result(verdict, tuple(says), tuple(lines), sources, ("vacuum",))


def _boiling_sentence(verdict: str) -> str:
    return {
        "boils": say("At this pressure water boils at the coldest part."),
        "does_not_boil": say("At this pressure water stays where it is coldest: pump deeper or warm the vehicle."),
        "cannot_tell": say("Too close to the boiling pressure to say whether water leaves."),
    }[verdict]


EVACUATION = Calculator(
    "evacuation",
    "Evacuation",
    "Pressure to reach for the coldest part and altitude, margin, predicted time.",
    (
        COLDEST,
        Field("reached", "absolute_pressure", "pressure reached, at the vehicle", "Pa", False, relative=0.1),
        VOLUME,
        Field("pump", "flow", "rated pumping speed", "L/min", default="70 L/min", relative=0.2),
        Field("pump_ultimate", "absolute_pressure", "lowest pressure of the pump", "Pa", default="10 Pa", exact=True),
        Field("bore", "length", "inner diameter of the hoses", "mm", default="4.8 mm", limit=0.2e-3, least=1e-3),
        Field("length", "length", "length of each hose", "m", default="1.8 m", relative=0.05, least=0.05, most=30.0),
        Field("water", "mass", "free water to carry off", "g", False, relative=0.5),
        *AIR,
    ),
    _evacuation,
)


def _rise(x: Mapping[str, Any]) -> Result:
    times, pressures = x["readings"]
    gauge = VacuumGauge(x["noise"], x["resolution"] or 0.0)
    found = fit_rise(times, pressures, gauge, x["volume"], x["coldest"], x["drift"])
    says = [_rise_sentence(found), found.reason, *_blind_spot(found, x, times[-1] - times[0])]
    lines = [
        words(say(name.replace("_", " ")).capitalize(), say("{count:.0f} of 100", count=100 * p))
        for name, p in _sorted(found)
    ]
    if found.leak is not None and found.probability("leak") > 0.5:
        lines.append(words(say("Leak of air, 9 of 10 between"), _micro(found.leak)))
        running = _as_refrigerant(found.leak.median, x)
        lines.append(
            words(
                say("  same hole, running, about"),
                say("{mass} kg/yr of {gas}", mass=_two(running * YEAR), gas=x["refrigerant"]),
            )
        )
    flattens = found.probability("moisture") + found.probability("desorption") > 0.5
    if flattens and found.rise is not None and found.tau is not None:
        lines.append(words(say("Rise that flattens, 9 of 10"), f"{_range(found.rise)} Pa"))
        lines.append(words(say("  time constant"), f"{_range(found.tau)} s"))
    lines.append(Line(say("Water pressure of the coldest part"), found.water_pressure, "pressure_difference", "Pa"))
    lines.append(number(say("Smallest leak of air it could claim"), found.smallest_leak * 1e6, "µPa·m³/s"))
    lines.append(number(say("  with something else rising"), found.smallest_leak_hidden * 1e6, "µPa·m³/s"))
    smallest = _as_refrigerant(found.smallest_leak, x) * YEAR
    lines.append(
        words(
            say("  same hole, running, about"),
            say("{mass} kg/yr of {gas}", mass=_two(smallest), gas=x["refrigerant"]),
        )
    )
    sources = ("common-practice", "coolprop-heos", "laminar-leak", "currie-1968", "tm-5-3805-292", "gum")
    return Result(found.verdict, tuple(says), tuple(lines), sources, ("vacuum",))


def _blind_spot(found: RiseFit, x: Mapping[str, Any], seconds: float) -> tuple[str, str]:
    T = x["coldest"].value
    Q = equivalent_leak(
        throughput(SMALL_LEAK, T, x["refrigerant"]), x["refrigerant"], RUNNING_PRESSURE, ATMOSPHERE, "air", ATMOSPHERE,
        0.0, T,
    )  # fmt: skip
    rise = Q / x["volume"].value * seconds
    return (
        say(
            "A vacuum hold cannot see a leak of 40 g/yr: here that is {rise:.2g} Pa in {minutes:.0f} min.",
            rise=rise,
            minutes=seconds / 60,
        ),
        say("So no vacuum proves a system tight: search with a detector, tracer gas or dye."),
    )


def _rise_sentence(found: RiseFit) -> str:
    return {
        "neither": say("Nothing rises that this record could show."),
        "leak": say("A leak: the pressure rises straight."),
        "moisture": say("Free water: the pressure flattens at the water pressure of the coldest part."),
        "desorption": say(
            "Something leaves oil, drier or walls, or the last water went: it flattens below free water."
        ),
        "leak_and_moisture": say("A leak, and free water beside it."),
        "leak_and_desorption": say("A leak, and something leaving oil, drier or walls beside it."),
        "cannot_tell": say("Cannot tell."),
    }[found.verdict]


def _sorted(found: RiseFit) -> list[tuple[str, float]]:
    return sorted(found.probabilities.items(), key=lambda item: -item[1])


def _as_refrigerant(Q: float, x: Mapping[str, Any]) -> float:
    T, gas = x["coldest"].value, x["refrigerant"]
    return mass_rate(equivalent_leak(Q, "air", ATMOSPHERE, 0.0, gas, RUNNING_PRESSURE, ATMOSPHERE, T), T, gas)


def _micro(e: Estimate) -> str:
    return f"{_range(Estimate(*(v * 1e6 for v in e)))} µPa·m³/s"


def _range(e: Estimate) -> str:
    return say("{low} and {high} (median {median})", low=_two(e.low), high=_two(e.high), median=_two(e.median))


def _two(value: float) -> str:
    """Two figures, without an exponent.

    >>> _two(1234.0), _two(0.0567)
    ('1200', '0.057')
    """
    return f"{float(f'{value:.2g}'):.10g}".replace(".", decimal_mark())


RISE = Calculator(
    "rise",
    "Standing rise",
    "What made the pressure of a standing vacuum rise: leak, water, desorption, nothing seen, cannot tell.",
    (
        Field("readings", "series", "file of times and absolute pressures (CSV: s,Pa)"),
        COLDEST,
        VOLUME,
        Field("noise", "pressure_difference", "noise of the gauge, one sigma", "Pa", exact=True, least=1e-3),
        Field("resolution", "pressure_difference", "last digit of the gauge", "Pa", False, exact=True),
        Field("drift", "temperature_difference", "how far the temperature wandered", "K", default="0.5 K", exact=True),
        Field("refrigerant", "text", "for the equivalent", default="R134a"),
    ),
    _rise,
)


def _hold(x: Mapping[str, Any]) -> Result:
    start, end = x["start"].reading, x["end"].reading  # one barometer, and it cancels in the difference
    if x["rating"] is not None and start.value > x["rating"].reading.value:
        over = say("Above the rating of the low side: let it down now.")
        raise InputError([Problem("start", f"{start.value:.0f} Pa", f"{x['rating'].reading.value:.0f} Pa", over)])
    found = judge_hold(
        start, end, x["start_temperature"], x["end_temperature"], x["time"], x["volume"], x["refrigerant"]
    )
    smallest = found.smallest_refrigerant * YEAR
    says = [
        {
            "leak": say("It leaks: more was lost than the temperature explains."),
            "no_leak_seen": say("No leak that this hold could see."),
            "rising": say("Pressure rose more than the temperature explains: valve to the cylinder, or a thermometer."),
        }[found.verdict],
        say(
            "It would have found about {mass} kg/yr of {gas} or more, 19 times in 20. Grams a year need a "
            "detector, tracer gas or dye.",
            mass=_two(smallest),
            gas=x["refrigerant"],
        ),
    ]
    if x["rating"] is None:
        says.append(say("The rating of the low side was not given: stay under the vehicle maker's limit."))
    lines = [
        kilopascals(say("Expected at the end, absolute"), found.expected),
        kilopascals(say("Lost beyond temperature"), found.drop),
        number(say("Leak of nitrogen"), Uncertain(found.leak.value * 1e6, found.leak.sigma * 1e6), "µPa·m³/s"),
        number(say("Smallest it could see"), found.smallest * 1e6, "µPa·m³/s"),
        words(
            say("  same hole, running, about"),
            say("{mass} kg/yr of {gas}", mass=_two(smallest), gas=x["refrigerant"]),
        ),
    ]
    sources = ("ideal-gas", "laminar-leak", "currie-1968", "nitrogen-practice", "gum")
    return Result(found.verdict, tuple(says), tuple(lines), sources, ("nitrogen", "hold_pressure"))


HOLD = Calculator(
    "hold",
    "Nitrogen hold",
    "A nitrogen pressure hold, corrected for temperature, and the smallest leak it could see.",
    (
        Field("start", "pressure", "at the start; ± is how two readings of the gauge differ", "kPa", limit=1e3),
        Field("end", "pressure", "at the end", "kPa", limit=1e3),
        Field("start_temperature", "temperature", "of the metal at the start", "°C", limit=0.3),
        Field("end_temperature", "temperature", "of the metal at the end", "°C", limit=0.3),
        Field("time", "time", "between the readings", "min", exact=True, least=1.0),
        VOLUME,
        Field("rating", "pressure", "the low side's rating", "kPa", False, limit=0.0),
        Field("refrigerant", "text", "for the equivalent", default="R134a"),
        *AIR,
    ),
    _hold,
)


def _leak_rate(x: Mapping[str, Any]) -> Result:
    m, unit = x["rate"]
    T, gas = x["temperature"].value, x["gas"]
    rate = mass_rate(m, T, gas) if unit == "throughput" else m
    Q = throughput(rate, T, gas)
    lines = (
        number(say("Throughput"), float(f"{Q:.4g}"), "Pa·m³/s"),
        number(say("  the same"), float(f"{10 * Q:.4g}"), "mbar·L/s"),
        number(say("Mass"), float(f"{rate * YEAR * 1e3:.4g}"), "g/yr"),
        number(say("  the same"), float(f"{rate * YEAR / OUNCE:.4g}"), "oz/yr"),
    )
    says = (
        say(
            "Volumes are those of {gas} at {temperature:g} °C; 20 or 25 °C makes 1.7 % difference.",
            gas=gas,
            temperature=T - 273.15,
        ),
        say("For scale: a detector shows 4 g/yr, a new car may lose 40 g/yr (2006/40/EC)."),
    )
    return Result("converted", says, lines, ("ideal-gas", "sae-j2791-summary", "eu-2006-40"))


LEAK_RATE = Calculator(
    "leak-rate",
    "Leak rate",
    "A leak rate in Pa·m³/s, mbar·L/s, g/yr and oz/yr, of a stated gas at a stated temperature.",
    (
        Field("rate", "leak_rate", "with its unit: Pa.m3/s, mbar.L/s, g/yr or oz/yr"),
        Field("gas", "text", "refrigerant, air, nitrogen or helium"),
        Field("temperature", "temperature", "at which the volume is stated", "°C", default="20 °C"),
    ),
    _leak_rate,
)
