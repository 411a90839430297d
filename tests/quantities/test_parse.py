"""What people write, on the left; what is meant, in SI, on the right."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopwright import quantities
from loopwright.errors import InputError

PSI = 6894.757293168361  # Pa, from the definitions of pound, inch and standard gravity


@pytest.mark.parametrize(
    ("written", "kind", "unit", "value"),
    [
        (207, "pressure", "kPa", 207e3),
        ("207", "pressure", "kPa", 207e3),
        ("30 psi", "pressure", None, 30 * PSI),
        ("30psi", "pressure", "PSI", 30 * PSI),
        ("30,5 psi", "pressure", None, 30.5 * PSI),
        ("210 kPa", "pressure", None, 210e3),
        ("2.1 bar", "pressure", None, 2.1e5),
        ("2 kg/cm2", "pressure", None, 2 * 98066.5),
        ("2 kgf/cm²", "pressure", None, 2 * 98066.5),
        ("1,234.5 kPa", "pressure", None, 1234.5e3),
        ("1.234,5 kPa", "pressure", None, 1234.5e3),
        ("1 234,5 kPa", "pressure", None, 1234.5e3),
        ("2.07e5 Pa", "pressure", None, 2.07e5),
        ("41F", "temperature", None, 278.15),
        ("41 °F", "temperature", None, 278.15),
        ("41 deg. F", "temperature", None, 278.15),
        ("41º F", "temperature", None, 278.15),
        ("16.7 °C", "temperature", None, 289.85),
        ("16.7 ℃", "temperature", None, 289.85),
        ("−5 c", "temperature", None, 268.15),
        ("9 °F", "temperature_difference", None, 5.0),
        ("5 K", "temperature_difference", None, 5.0),
        ("45%", "fraction", None, 0.45),
        ("45 % RH", "fraction", None, 0.45),
        ("0.45", "fraction", "1", 0.45),
        ("1500 rpm", "rotation", None, 25.0),
        ("1 500 rpm", "rotation", None, 25.0),
        ("1500 1/min", "rotation", None, 25.0),
        ("50 Hz", "rotation", None, 50.0),
        ("620 g", "mass", None, 0.620),
        ("1.3 lb", "mass", None, 1.3 * 0.45359237),
        ("21.9 oz", "mass", None, 21.9 * 0.45359237 / 16),
        ("1 lb 5 oz", "mass", None, 21 * 0.45359237 / 16),
        ("170 cc", "volume", None, 170e-6),
        ("10 in³", "volume", None, 10 * 0.0254**3),
        ("700 fpm", "air_speed", None, 700 * 0.3048 / 60),
        ("5 min", "time", None, 300.0),
        ("1,5 h", "time", None, 5400.0),
        ("5000 ft", "length", None, 1524.0),
        ("3'", "length", None, 0.9144),
        ("900 mV", "voltage", None, 0.9),
        (".5 V", "voltage", None, 0.5),
    ],
)
def test_people_write(written, kind, unit, value):
    assert quantities.parse(written, kind, unit).value == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("written", "reference", "value"),
    [
        ("30 psi", None, 30 * PSI),
        ("30 psig", "gauge", 30 * PSI),
        ("30 psi (g)", "gauge", 30 * PSI),
        ("44.7 psia", "absolute", 44.7 * PSI),
        ("305 kPa abs", "absolute", 305e3),
        ("3.05 bar(a)", "absolute", 3.05e5),
        ("12 inHg vac", "vacuum", -12 * 3386.388640341),
        ("12 in. Hg vacuum", "vacuum", -12 * 3386.388640341),
        ("-12 inHg vac", "vacuum", -12 * 3386.388640341),
        ("500 micron", "absolute", 500 * 101325 / 760e3),
    ],
)
def test_a_pressure_says_what_it_counts_from(written, reference, value):
    found = quantities.parse(written, "pressure")
    assert found.reference == reference
    assert found.value == pytest.approx(value, rel=1e-12)


def test_gauge_becomes_absolute_with_the_air_of_the_place():
    air = 84.3e3  # Pa, about 1500 m
    assert quantities.absolute(quantities.parse("200 kPa", "pressure"), air) == pytest.approx(284.3e3)
    assert quantities.absolute(quantities.parse("200 kPa", "pressure"), air, "absolute") == pytest.approx(200e3)
    assert quantities.absolute(quantities.parse("200 kPa a", "pressure"), air, "gauge") == pytest.approx(200e3)
    assert quantities.absolute(quantities.parse("20 kPa vac", "pressure"), air, "absolute") == pytest.approx(64.3e3)
    with pytest.raises(TypeError, match="temperature is no pressure"):
        quantities.absolute(quantities.parse("20 °C", "temperature"), air)


@pytest.mark.parametrize(
    ("written", "kind", "unit", "says"),
    [
        ("", "pressure", "kPa", "Not a number"),
        ("high", "pressure", "kPa", "Not a number"),
        ("30", "pressure", None, "No unit"),
        (30, "pressure", None, "No unit"),
        ("30 pounds", "pressure", None, "Not a unit of pressure"),
        ("30 pssi", "pressure", None, "Did you mean psi?"),
        ("30 psi", "temperature", None, "Not a unit of temperature"),
        ("30 psi", "pressure", "kPa", "Two different units"),
        ("30 psig", "pressure", "psia", "Two different units"),
        ("1,500 rpm", "rotation", None, "The comma may be decimal or thousands"),
        ("1,2,3", "length", "m", "Not a number"),
        ("1.2.3", "length", "m", "Not a number"),
        ("nan", "length", "m", "Not a number"),
        ("1e400 m", "length", None, "Not a finite number"),
        (math.nan, "length", "m", "Not a finite number"),
        (math.inf, "length", "m", "Not a finite number"),
        pytest.param(10**400, "length", "m", "Not a finite number", id="400 digits"),
        pytest.param(10**9999, "length", "m", "Not a finite number", id="9999 digits"),
        (True, "length", "m", "Not a number"),
        (None, "length", "m", "Not a number"),
        ([1], "length", "m", "Not a number"),
        ("3" * 1000, "length", "m", "Too long"),
    ],
)
def test_what_is_not_a_value_is_refused_in_plain_words(written, kind, unit, says):
    with pytest.raises(InputError) as caught:
        quantities.parse(written, kind, unit)
    (problem,) = caught.value.problems
    assert says in problem.says
    assert problem.allowed
    assert len(problem.found) < 100


@given(st.text(max_size=80), st.sampled_from([u.kind for u in quantities.UNITS]), st.none() | st.text(max_size=9))
def test_any_text_is_a_finite_value_or_an_input_error(written, kind, unit):
    try:
        found = quantities.parse(written, kind, unit)
    except InputError:
        return
    assert math.isfinite(found.value)


@given(st.sampled_from(quantities.UNITS), st.floats(-1e6, 1e6), st.sampled_from(".,"))
def test_printing_and_reading_agree(unit, value, mark):
    si = quantities.parse(value, unit.kind, unit.symbol).value
    text = quantities.show(si, unit.kind, unit.symbol, 6, mark)
    # Six printed decimals leave half of the last one; 1e-9 covers a float's own rounding at a million.
    assert quantities.from_si(quantities.parse(text, unit.kind, unit.symbol).value, unit.kind, unit.symbol) == (
        pytest.approx(value, abs=0.5e-6, rel=1e-9)
    )


@pytest.mark.parametrize(
    ("value", "kind", "unit", "text"),
    [
        (305.2e3, "pressure", "kPa", "305.2 kPa"),
        (-0.0001, "temperature_difference", "K", "0 K"),
        (25.0, "rotation", "rpm", "1500 rpm"),
        (0.62, "mass", "oz", "21.9 oz"),
        (0.45, "fraction", "%", "45 %"),
        (0.45, "fraction", "1", "0.45"),
    ],
)
def test_printing(value, kind, unit, text):
    assert quantities.show(value, kind, unit) == text


def test_no_spelling_of_one_kind_means_two_units():
    for kind in {unit.kind for unit in quantities.UNITS}:
        seen = {}
        for unit in quantities.units_of(kind):
            for name in (unit.symbol, *unit.spellings):
                assert quantities.find_unit(name, kind)[0] == unit
                assert seen.setdefault(name.casefold(), unit) is unit
