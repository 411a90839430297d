"""What a whole sheet cannot be, and what it is unlikely to be.

A faulty vehicle gives strange readings: equal pressures where nothing turns, a vent warmer than the day where the
heater mixes in, a low side in vacuum. Those are kept. Refused is only what no vehicle can show, with the likely mix-up
named.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator
from functools import lru_cache

from loopwright.errors import Problem
from loopwright.language import say
from loopwright.quantities import find_unit, from_si, show
from loopwright.readings.points import table
from loopwright.readings.records import Reading, Test

__all__ = ["impossible", "unlikely"]

BAD_GAUGE = 200e3  # Pa; the worst offset of a gauge still in use (common practice, no source)
SWAPPED = 300e3  # Pa; two poor gauges (1.6 % of 1.1 and 3.5 MPa) disagree by 75 kPa, a bad one by its offset more
DOUBTFUL = 100e3  # Pa; more than two poor gauges disagree
SIDES_AGREE = 80e3  # Pa; as far apart as two poor gauges read one standing pressure
HOT_SOAK = 40.0  # K; how far above the day the coldest part with liquid in it can be, just after a run
SOAK = (-4.0, 8.0)  # K above the day: where a vehicle that has stood may be, from deep shade to sun and a warm engine
AIR_INSIDE = 1.0e6  # Pa; more foreign gas than any way of letting it in leaves in a vehicle
COOLING = 10.0  # K; air this much colder than the day was cooled, whatever the probe
FOREIGN = (
    1.6  # R-22's vapour pressure over R-134a's at 15 °C (CoolProp), the most volatile that a car is usually met with
)
NO_CONDENSING = 10.0  # K; refrigerant that condenses this far below the day's air is out of the question
COINCIDENCE = 0.04  # share of the pressure; a poor thermometer (1 K) and a poor gauge together
COLDEST_VENT = 261.15  # K, -12 °C; a coil this cold is shut with ice and passes no air
CONDENSING = (5.0, 50.0)  # K above the day's air: where a running high side usually condenses
EVAPORATING = (-45.0, -5.0)  # K above the day's air: where a running low side usually boils
VENTS = ("vent_center", "vent_left", "vent_right")
FREEZING_DAY = 283.15  # K, 10 °C; below this a vent may be as cold as the day
NOTEWORTHY = 15.0  # K between two thermometers in the same air


def impossible(test: Test) -> list[Problem]:
    """Return everything in a well-formed sheet that no vehicle can show, with what was probably meant."""
    rules = (_not_modelled, _hoses_swapped, _standing_too_high, _cooled_by_nothing, _cooled_by_warmth, _vent_frozen)
    return [problem for rule in rules for problem in rule(test)]


def unlikely(test: Test) -> Test:
    """Return the test with its warnings: what is possible but should be looked at again."""
    return dataclasses.replace(test, warnings=tuple(says for rule in _UNLIKELY for says in rule(test)))


def _of(test: Test, phase: str, points: str | Iterable[str], quantity: str) -> list[Reading]:
    points = {points} if isinstance(points, str) else set(points)
    return [r for r in test.readings if r.phase == phase and r.point in points and r.quantity == quantity]


def _problem(reading: Reading, allowed: str, says: str) -> Problem:
    return Problem(f"{reading.field}.value", reading.written, allowed, says)


def _not_modelled(test: Test) -> Iterator[Problem]:
    name = test.vehicle.refrigerant
    if table().refrigerants[name].loop:
        return
    for r in test.readings:
        if r.phase != "standing" and r.point not in ("ambient_air", "condenser_air_in", "cabin_air_in"):
            says = say("{name} is judged by its standing pressure only.", name=name)
            yield Problem(f"{r.field}.phase", r.phase, "standing", says)


def _pairs(test: Test, phase: str) -> Iterator[tuple[Reading, Reading]]:
    """Yield the low and the high side read at the same moment of the cycle, where both were."""
    lows, highs = (_of(test, phase, side, "pressure") for side in ("low_side", "high_side"))
    for low in lows:
        yield from ((low, high) for high in highs if high.statistic == low.statistic and high.time == low.time)


def _hoses_swapped(test: Test) -> Iterator[Problem]:
    for low, high in _pairs(test, "running"):
        if low.value - high.value > SWAPPED:
            says = say(
                "The low side cannot be far above the high side while running. Probably hoses or lines are swapped."
            )
            yield _problem(low, say("not above the high side, {high}", high=high.written), says)


def _sides_nearly_swapped(test: Test) -> Iterator[str]:
    for low, high in _pairs(test, "running"):
        if DOUBTFUL < low.value - high.value <= SWAPPED:
            yield say(
                "The low side ({low}) reads above the high side ({high}) while running: "
                "check the zero of the gauges and which hose is where.",
                low=low.written,
                high=high.written,
            )


def _standing_too_high(test: Test) -> Iterator[Problem]:
    hottest = _saturation(test, HOT_SOAK)
    if hottest is None:
        return
    for r in _of(test, "standing", ("low_side", "high_side"), "pressure"):
        if r.value > hottest + AIR_INSIDE:
            day = show(test.weather.air_temperature, "temperature", "°C")
            says = say("No vehicle standing in {day} holds that.", day=day) + _probably(test, r)
            yield _problem(
                r,
                say(
                    "at most {pressure} gauge",
                    pressure=show(hottest + AIR_INSIDE - test.weather.atmosphere, "pressure", r.unit),
                ),
                says,
            )


def _standing_in_another_unit(test: Test) -> Iterator[str]:
    for low, high in _pairs(test, "standing"):
        hint = _probably(test, low)
        same = low.unit == high.unit and low.reference == high.reference
        if abs(low.value - high.value) < SIDES_AGREE and same and hint and hint == _probably(test, high):
            yield say(
                "Standing, both sides show {pressure}, which fits no liquid at this temperature.{hint}",
                pressure=low.written,
                hint=hint,
            )


def _vent_is_cold(test: Test) -> bool:
    vents = _of(test, "running", VENTS, "temperature")
    return any(v.value < test.weather.air_temperature - COOLING for v in vents)


def _cooled_by_nothing(test: Test) -> Iterator[Problem]:
    """Cold air needs refrigerant that condenses, and it only condenses into air colder than itself."""
    if not _vent_is_cold(test):
        return
    for r, needed, unit in _high_sides_that_condense_nothing(test):
        at_least = show(needed - test.weather.atmosphere, "pressure", r.unit)
        says = say(
            "The vent is cold, but nothing condenses at this pressure. Probably {meant} written as {unit}.",
            meant=unit,
            unit=r.unit,
        )
        yield _problem(r, say("at least {pressure} gauge where the vent is cold", pressure=at_least), says)


def _running_in_another_unit(test: Test) -> Iterator[str]:
    """Without a cold vent an empty system shows the same, so it is only remarked on."""
    for r, _, unit in _high_sides_that_condense_nothing(test):
        yield say(
            "Nothing condenses at {pressure} on the high side; an empty system shows that, or {unit} was meant.",
            pressure=r.written,
            unit=unit,
        )


def _high_sides_that_condense_nothing(test: Test) -> Iterator[tuple[Reading, float, str]]:
    """Yield readings too low for this day that in another unit would be right: reading, pressure needed [Pa], unit."""
    needed = _saturation(test, -NO_CONDENSING)
    for r in _of(test, "running", "high_side", "pressure"):
        if needed is not None and r.statistic == "mean" and r.value < needed:
            unit = _unit_between(test, r, *CONDENSING)
            if unit is not None:
                yield r, needed, unit


def _cooled_by_warmth(test: Test) -> Iterator[Problem]:
    """A cold vent needs refrigerant that boils, and it only boils in air warmer than itself, even a foreign one."""
    for r, most in _low_sides_that_boil_nothing(test):
        if r.value > most and (unit := _unit_between(test, r, *EVAPORATING)):
            at_most = show(most - test.weather.atmosphere, "pressure", r.unit)
            says = say("The vent is cold, but nothing boils below the day at this pressure.")
            says += say(" Probably {meant} written as {unit}.", meant=unit, unit=r.unit)
            yield _problem(r, say("at most {pressure} gauge where the vent is cold", pressure=at_most), says)


def _cooled_by_something_else(test: Test) -> Iterator[str]:
    """A foreign refrigerant may well boil at a pressure at which the right one does not, and a gauge may be off."""
    for r, most in _low_sides_that_boil_nothing(test):
        if r.value <= most:
            yield say(
                "The vent is cold, but {refrigerant} boils no colder than the day at {pressure} on the low side: "
                "another refrigerant may be in it, the gauge may be off, or another unit was meant.",
                refrigerant=test.vehicle.refrigerant,
                pressure=r.written,
            )


def _low_sides_that_boil_nothing(test: Test) -> Iterator[tuple[Reading, float]]:
    """Yield low sides at which the label's refrigerant boils no colder than the day; most [Pa] of a foreign one."""
    warmest, colder = _saturation(test, 0.0), _saturation(test, -COOLING)
    if warmest is None or colder is None or not _vent_is_cold(test):
        return
    for r in _of(test, "running", "low_side", "pressure"):
        if r.statistic == "mean" and r.value > warmest:
            yield r, FOREIGN * colder + BAD_GAUGE


def _unit_between(test: Test, r: Reading, coldest: float, warmest: float) -> str | None:
    """Return the unit in which the same number is saturation between two temperatures, in K above the day."""
    low, high = _saturation(test, coldest), _saturation(test, warmest)
    if low is None or high is None:
        return None
    return next((unit for unit, value in _other_units(test, r) if low < value < high), None)


def _not_level(test: Test) -> Iterator[str]:
    for low, high in _pairs(test, "standing"):
        if abs(low.value - high.value) > DOUBTFUL:
            yield say(
                "Standing, the low side shows {low} and the high side {high}: "
                "they have not come level yet, or a gauge is off.",
                low=low.written,
                high=high.written,
            )


def _other_units(test: Test, r: Reading) -> Iterator[tuple[str, float]]:
    """Yield the number of a pressure reading in other units, as absolute pressure [Pa]."""
    air = test.weather.atmosphere if r.reference == "gauge" else 0.0
    number = from_si(r.value - air, "pressure", r.unit)
    for unit in ("psi", "bar", "kPa", "kgf/cm2"):
        if unit != r.unit:
            yield unit, number * find_unit(unit, "pressure")[0].factor + air


def _probably(test: Test, r: Reading) -> str:
    """Say in which other unit, or from which other zero, a standing pressure is just saturation at the day's air."""
    coldest, soaked, warmest = (_saturation(test, above) for above in (SOAK[0], 0.0, SOAK[1]))
    if coldest is None or soaked is None or warmest is None or coldest < r.value < warmest:
        return ""
    for unit, value in _other_units(test, r):
        if abs(value / soaked - 1) < COINCIDENCE:
            return say(" Probably {meant} written as {unit}.", meant=unit, unit=r.unit)
    air = test.weather.atmosphere
    if r.reference == "absolute" and abs((r.value + air) / soaked - 1) < COINCIDENCE:
        return say(" Perhaps gauge pressure written as absolute.")
    if r.reference == "gauge" and abs((r.value - air) / soaked - 1) < COINCIDENCE:
        return say(" Perhaps absolute pressure written as gauge, or as much air inside as out.")
    return ""


def _saturation(test: Test, above: float) -> float | None:
    """Return the saturation pressure [Pa] so many kelvin above the day's air; None above the critical temperature."""
    return _saturation_pressure(test.vehicle.refrigerant, test.weather.air_temperature + above)


@lru_cache(maxsize=1024)
def _saturation_pressure(name: str, temperature: float) -> float | None:
    if table().refrigerants[name].loop:
        from loopwright.fluids import refrigerant  # late: a form or a schema needs no compiled physics
        from loopwright.fluids.refrigerants import saturation_pressure

        return float(saturation_pressure(refrigerant(name), temperature))
    from CoolProp.CoolProp import PropsSI  # late: over a second to import, and only the rare refrigerant needs it

    return float(PropsSI("P", "T", temperature, "Q", 1, name)) if temperature < PropsSI("Tcrit", name) else None


def _vent_frozen(test: Test) -> Iterator[Problem]:
    if test.weather.air_temperature < FREEZING_DAY:
        return
    for r in _of(test, "running", VENTS, "temperature"):
        if r.value < COLDEST_VENT:
            says = say("No vent blows that cold: the coil would be shut with ice.")
            if r.unit == "°F":
                says += say(" Probably °C written as °F.")
            yield _problem(r, say("at least {least}", least=show(COLDEST_VENT, "temperature", r.unit)), says)


def _vent_in_another_unit(test: Test) -> Iterator[str]:
    """A vent far above the day may be the heater; as °F it would be a cold vent, and that is worth a second look."""
    fahrenheit, _ = find_unit("°F", "temperature")
    for r in _of(test, "running", VENTS, "temperature"):
        number = from_si(r.value, "temperature", "°C")
        other = fahrenheit.factor * number + fahrenheit.offset
        if r.unit == "°C" and r.value > test.weather.air_temperature + COOLING and 273.15 < other < 290.0:
            yield say(
                "{point}: {temperature} is far warmer than the day; was {number:g} °F meant?",
                point=say(table().points[r.point].name),
                temperature=r.written,
                number=number,
            )


def _air_disagrees(test: Test) -> Iterator[str]:
    outdoors = (r for r in test.readings if r.point == "ambient_air" and r.quantity == "temperature")
    for r in outdoors:
        if abs(r.value - test.weather.air_temperature) > NOTEWORTHY:
            day = show(test.weather.air_temperature, "temperature", r.unit)
            yield say("The outdoor air was read as {air}, but the weather says {day}.", air=r.written, day=day)


def _dry_air(test: Test) -> Iterator[str]:
    humidity = test.weather.relative_humidity
    if humidity is not None and humidity < 0.03:
        dry = show(humidity, "fraction", "%")
        yield say(
            "{humidity} humidity is drier than almost any air outdoors; leave it out if it is unknown.", humidity=dry
        )


_UNLIKELY = (
    _sides_nearly_swapped,
    _not_level,
    _standing_in_another_unit,
    _running_in_another_unit,
    _cooled_by_something_else,
    _air_disagrees,
    _dry_air,
    _vent_in_another_unit,
)
