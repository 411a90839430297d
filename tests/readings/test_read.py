"""The sheet as a person writes it on top, what is understood below."""

import dataclasses
import math

import pytest
from sheets import reading, sheet, whole

from loopwright import readings
from loopwright.errors import InputError

PSI = 6894.757293168361  # Pa
SEA = 101325.0  # Pa


def problems(found):
    with pytest.raises(InputError) as caught:
        readings.read(found)
    return {p.field: p for p in caught.value.problems}


def test_the_whole_sheet_of_the_contract_is_understood():
    test = readings.read(whole())
    assert test.id == "bay 2, Tuesday"
    assert test.vehicle == readings.Vehicle(
        "R134a", "thermostatic", "receiver", "fixed", pytest.approx(0.62), "discharge_line", "small hatchback", None
    )
    assert test.weather == readings.Weather(pytest.approx(304.15), pytest.approx(0.45), pytest.approx(250.0))
    assert test.conditions == readings.Conditions(pytest.approx(30.0), "high", "fresh", pytest.approx(300.0))
    low, high, vent = test.readings
    # 207 kPa gauge at 250 m: standard atmosphere 98.36 kPa there (ISO 2533).
    assert low.value == pytest.approx(207e3 + 98.36e3, abs=10)
    assert (low.reference, low.written, low.unit, low.field) == ("gauge", "207 kPa", "kPa", "readings[0]")
    assert low.sigma == pytest.approx(0.015 * 1400e3 / math.sqrt(3))
    assert high.value == pytest.approx(200 * PSI + 98.36e3, abs=10)
    assert (high.written, high.sigma, high.instrument) == ("200 psi", None, None)
    assert (vent.value, vent.reference, vent.statistic) == (pytest.approx(278.15), None, "mean")
    assert [o.value for o in test.observations] == ["hot", "normal", "clear", "running", "cycling"]
    assert test.warnings == ()
    with pytest.raises(dataclasses.FrozenInstanceError):
        test.id = "other"


def test_what_is_unknown_is_none_and_no_error():
    test = readings.read({"vehicle": {"refrigerant": "R1234yf"}, "weather": {"air_temperature_c": 20}})
    assert test.vehicle == readings.Vehicle("R1234yf")
    assert test.weather == readings.Weather(pytest.approx(293.15), None, None)
    assert test.conditions == readings.Conditions()
    assert (test.id, test.readings, test.observations) == ("", (), ())
    nulls = {"vehicle": {"refrigerant": "R12", "charge_g": None}, "weather": {"air_temperature_c": 20}, "test": None}
    assert readings.read(nulls).vehicle == readings.Vehicle("R12")


def test_a_null_value_is_an_absent_reading():
    assert readings.read(sheet(reading("low_side", None, unit="kPa"))).readings == ()


@pytest.mark.parametrize(
    ("written", "name"),
    [("R134a", "R134a"), ("r-134A", "R134a"), ("HFC-134a", "R134a"), ("HFO-1234yf", "R1234yf"), ("R 12", "R12")],
)
def test_a_refrigerant_may_be_spelt_as_people_do(written, name):
    assert readings.read(sheet(refrigerant=written)).vehicle.refrigerant == name


@pytest.mark.parametrize("written", ["R22", "R410A", "", "134", "R134ab", "R134a\n"])
def test_any_other_refrigerant_is_refused_with_the_list(written):
    allowed = problems(sheet(refrigerant=written))["vehicle.refrigerant"].allowed
    assert allowed == "R134a, R1234yf, R12, R152a, R744 (standing pressure only)"


def test_r744_has_no_running_model():
    standing = sheet(reading("low_side", "57 bar", "standing"), air=20, refrigerant="R744")
    assert readings.read(standing).readings[0].value == pytest.approx(57e5 + SEA)
    running = problems(sheet(reading("high_side", "90 bar"), air=20, refrigerant="R744"))
    assert "standing pressure only" in running["readings[0].phase"].says


@pytest.mark.parametrize(
    ("more", "value"),
    [
        ({"value": "30 psi"}, 30 * PSI + SEA),
        ({"value": "30 psig"}, 30 * PSI + SEA),
        ({"value": "44.7 psia"}, 44.7 * PSI),
        ({"value": 308, "unit": "kPa", "reference": "absolute"}, 308e3),
        ({"value": 308, "unit": "kPa abs"}, 308e3),
        ({"value": "10 inHg vac"}, SEA - 33863.88640341),
        ({"value": "30,5", "unit": "psi"}, 30.5 * PSI + SEA),
        ({"value": "2 kg/cm2"}, 2 * 98066.5 + SEA),
    ],
)
def test_pressures_become_absolute(more, value):
    found = sheet({"phase": "running", "point": "low_side", "quantity": "pressure", **more})
    assert readings.read(found).readings[0].value == pytest.approx(value, rel=1e-9)


def test_altitude_moves_a_gauge_reading_and_not_an_absolute_one():
    both = (reading("low_side", "200 kPa"), reading("high_side", "1300 kPa abs"))
    low, high = readings.read(sheet(*both, altitude_m=1500)).readings
    # Standard atmosphere at 1500 m: 84.556 kPa (ISO 2533:1975, table 5, read in a repository); geometric against
    # geopotential altitude makes 4 Pa of difference there.
    assert low.value == pytest.approx(200e3 + 84556, abs=10)
    assert high.value == pytest.approx(1300e3)


@pytest.mark.parametrize(
    ("accuracy", "unit", "sigma"),
    [
        ({"kind": "one_sigma", "value": 5}, "kPa", 5e3),
        ({"kind": "one_sigma", "value": 5}, "psig", 5 * PSI),
        ({"kind": "one_sigma", "value": "5 kPa"}, "psi", 5e3),
        ({"kind": "limit", "value": 10, "unit": "kPa"}, "psi", 10e3 / math.sqrt(3)),
        ({"kind": "of_span_pct", "value": 1.6, "span": 160, "unit": "psi"}, "psi", 0.016 * 160 * PSI / math.sqrt(3)),
        ({"kind": "of_span_pct", "value": "1.6 %", "span": "11 bar"}, "kPa", 0.016 * 11e5 / math.sqrt(3)),
        (None, "kPa", None),
    ],
)
def test_accuracy_becomes_one_standard_deviation(accuracy, unit, sigma):
    value = 207 if unit == "kPa" else 30
    found = readings.read(sheet(reading("low_side", value, unit=unit, accuracy=accuracy)))
    assert found.readings[0].sigma == (sigma if sigma is None else pytest.approx(sigma))


def test_the_accuracy_of_a_temperature_is_a_difference():
    found = sheet(reading("vent_center", "41 °F", accuracy={"kind": "one_sigma", "value": 1.8}))
    assert readings.read(found).readings[0].sigma == pytest.approx(1.0)  # 1.8 °F of difference is 1 K


def test_text_with_its_own_unit_counts_over_the_unit_in_the_key():
    found = {
        "vehicle": {"refrigerant": "R134a", "charge_g": "1 lb 5 oz"},
        "weather": {"air_temperature_c": "88 °F", "altitude_m": "5000 ft", "relative_humidity_pct": "45"},
        "test": {"compressor_speed_rpm": "1,5e3"},
    }
    test = readings.read(found)
    assert test.vehicle.charge == pytest.approx(0.59534, abs=1e-5)
    assert test.weather == readings.Weather(pytest.approx(304.2611, abs=1e-4), pytest.approx(0.45), pytest.approx(1524))
    assert test.conditions.compressor_speed == pytest.approx(25.0)


CASES = [
    ("vehicle.refrigerant", lambda s: s["vehicle"].pop("refrigerant"), "Missing"),
    ("weather.air_temperature_c", lambda s: s["weather"].pop("air_temperature_c"), "Missing"),
    ("vehicle", lambda s: s.pop("vehicle"), "Missing"),
    ("weather", lambda s: s.update(weather=3), "Not a table"),
    ("readings", lambda s: s.update(readings={}), "Not a list"),
    ("readings[0]", lambda s: s["readings"].insert(0, 7), "Not a table"),
    ("schema", lambda s: s.update(schema=2), "Not a schema"),
    ("schema", lambda s: s.update(schema=True), "Not a schema"),
    ("id", lambda s: s.update(id=5), "Not text"),
    ("id", lambda s: s.update(id="x" * 2000), "Too long"),
    ("id", lambda s: s.update(id="\ud800"), "Half of a character"),
    ("redings", lambda s: s.update(redings=[]), "Did you mean readings?"),
    ("7", lambda s: s.update({7: 1}), "Unknown key"),
    ("vehicle.charge_kg", lambda s: s["vehicle"].update(charge_kg=1), "Did you mean charge_g?"),
    ("vehicle.expansion", lambda s: s["vehicle"].update(expansion="orfice"), "Did you mean orifice?"),
    (
        "vehicle.charge_g",
        lambda s: s["vehicle"].update(charge_g=0.62),
        "Probably kg (620 g) or lb (281 g) written as g",
    ),
    ("vehicle.charge_g", lambda s: s["vehicle"].update(charge_g=True), "Not a number"),
    (
        "weather.air_temperature_c",
        lambda s: s["weather"].update(air_temperature_c=88),
        "Probably °F (31.1 °C) written as °C",
    ),
    ("weather.air_temperature_c", lambda s: s["weather"].update(air_temperature_c=math.nan), "Not a finite number"),
    ("weather.relative_humidity_pct", lambda s: s["weather"].update(relative_humidity_pct=0.45), "a fraction"),
    ("weather.relative_humidity_pct", lambda s: s["weather"].update(relative_humidity_pct=101), "Too high"),
    ("weather.altitude_m", lambda s: s["weather"].update(altitude_m=7000), "Probably ft (2134 m) written as m"),
    ("test.blower", lambda s: s["test"].update(blower="full"), "Not one of"),
    ("test.compressor_speed_rpm", lambda s: s["test"].update(compressor_speed_rpm=-5), "Too low"),
    ("readings[0].phase", lambda s: s["readings"][0].update(phase="idle"), "Not one of"),
    ("readings[0].point", lambda s: s["readings"][0].update(point="low_sid"), "Did you mean low_side?"),
    ("readings[0].quantity", lambda s: s["readings"][0].update(quantity="temperature"), "Not read at this point"),
    ("readings[0].value", lambda s: s["readings"][0].pop("value"), "Missing"),
    ("readings[0].value", lambda s: s["readings"][0].update(value="high"), "Not a number"),
    ("readings[0].value", lambda s: s["readings"][0].update(value=[1]), "Not a number"),
    ("readings[0].value", lambda s: s["readings"][0].update(value="30 psi"), "Two different units"),
    ("readings[0].value", lambda s: s["readings"][0].pop("unit"), "No unit"),
    ("readings[0].value", lambda s: s["readings"][0].update(unit="kpsa"), "Did you mean kPa?"),
    ("readings[0].reference", lambda s: s["readings"][0].update(unit="kPa abs"), "one reference"),
    ("readings[0].statistic", lambda s: s["readings"][0].update(statistic="average"), "Not one of"),
    ("readings[0].instrument", lambda s: s["readings"][0].update(instrument=4), "Not text"),
    ("readings[0].time_s", lambda s: s["readings"][0].update(time_s=-1), "Too low"),
    ("readings[0].accuracy", lambda s: s["readings"][0].update(accuracy=1), "Not a table"),
    ("readings[0].accuracy.kind", lambda s: s["readings"][0]["accuracy"].update(kind="sigma"), "Not one of"),
    ("readings[0].accuracy.span", lambda s: s["readings"][0]["accuracy"].pop("span"), "Missing"),
    ("readings[0].accuracy.value", lambda s: s["readings"][0]["accuracy"].update(value=0), "without error"),
    ("observations[0].point", lambda s: s["observations"][0].update(point="low_side"), "Not one of"),
    ("observations[0].kind", lambda s: s["observations"][0].update(kind="seen"), "Not one of"),
    ("observations[0].value", lambda s: s["observations"][0].update(value="icy"), "Not one of"),
    ("observations[0].value", lambda s: s["observations"][0].update(value=None), "Missing"),
]


@pytest.mark.parametrize(("field", "change", "says"), CASES, ids=[f"{f} {s}" for f, _, s in CASES])
def test_each_kind_of_problem_names_its_field_what_was_found_and_what_is_allowed(field, change, says):
    found = whole()
    change(found)
    problem = problems(found)[field]
    assert says in problem.says
    assert problem.found
    assert problem.allowed


def test_all_problems_come_at_once():
    found = whole()
    for _, change, _ in (CASES[0], CASES[13], CASES[17], CASES[23], CASES[25]):
        change(found)
    assert set(problems(found)) == {
        "vehicle.refrigerant",
        "vehicle.charge_kg",
        "weather.air_temperature_c",
        "test.compressor_speed_rpm",
        "readings[0].point",
    }


@pytest.mark.parametrize("found", [None, [], 3, "sheet", math.nan, {}])
def test_what_is_no_sheet_is_refused(found):
    assert problems(found)
