"""Whatever is thrown at it, a sheet is understood or refused in words; it never crashes and never yields a number.

LOOPWRIGHT_FUZZ_EXAMPLES sets how many sheets each test tries (default 300; the long run asks for 10,000).
"""

import json
import math
import os

import pytest
import strategies as ours
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sheets import whole

from loopwright import readings
from loopwright.errors import InputError

EXAMPLES = int(os.environ.get("LOOPWRIGHT_FUZZ_EXAMPLES", "300"))
thrown = settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def check(problems):
    assert problems
    for problem in problems:
        assert problem.field
        assert problem.found
        assert problem.allowed
        assert problem.says
        assert len(str(problem)) < 3000
        str(problem).encode("utf-8")  # half a character would stop the printing


def check_test(test):
    numbers = [test.weather.air_temperature, test.weather.atmosphere, *(r.value for r in test.readings)]
    optional = [test.vehicle.charge, test.vehicle.displacement, test.weather.altitude, test.conditions.running_time]
    numbers += [x for x in (*optional, *(r.sigma for r in test.readings)) if x is not None]
    assert all(isinstance(x, float) and math.isfinite(x) for x in numbers)
    assert all(r.value > 0 for r in test.readings if r.quantity in ("pressure", "temperature"))
    assert all(r.sigma is None or r.sigma > 0 for r in test.readings)
    assert all(readings.default_sigma(r) > 0 for r in test.readings)


def check_sheet(sheet):
    try:
        test = readings.read(sheet)
    except InputError as error:
        check(error.problems)
    else:
        check_test(test)


@thrown
@given(ours.ANYTHING)
def test_anything_at_all(sheet):
    check_sheet(sheet)


@thrown
@given(ours.spoilt())
def test_a_sheet_with_one_thing_wrong(sheet):
    check_sheet(sheet)


@thrown
@given(ours.sheets())
def test_a_well_formed_sheet(sheet):
    check_sheet(sheet)


def check_text(raw, form):
    for found in readings.read_text(raw, form):
        if isinstance(found, readings.Refused):
            check(found.problems)
        else:
            check_test(found)


@thrown
@given(st.binary(max_size=200) | st.text(max_size=200), st.sampled_from(["json", "toml", "jsonl"]))
def test_any_bytes_and_any_text(raw, form):
    check_text(raw, form)


@thrown
@given(st.data(), st.sampled_from(["json", "jsonl"]))
def test_a_sheet_as_text_with_a_piece_cut_out_or_put_in(data, form):
    text = json.dumps(whole(), ensure_ascii=False, indent=data.draw(st.sampled_from([None, 1])))
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, min(len(text), start + 9)))
    put = data.draw(
        st.sampled_from(["", "{", "]", '"', ",", ":", "\\", "NaN", "-", "1e9999", "\x00"]) | st.text(max_size=5)
    )
    check_text(text[:start] + put + text[end:], form)


TOML = """schema = 1
vehicle = { refrigerant = "R134a", charge_g = 620 }
[weather]
air_temperature_c = 31
[[readings]]
phase = "running"
point = "low_side"
quantity = "pressure"
value = "30 psi"
accuracy.kind = "limit"
accuracy.value = 10
"""


@thrown
@given(st.data())
def test_a_toml_sheet_with_a_piece_cut_out_or_put_in(data):
    start = data.draw(st.integers(0, len(TOML)))
    end = data.draw(st.integers(start, min(len(TOML), start + 9)))
    put = data.draw(
        st.sampled_from(["", "[", "]]", '"', "'''", '"""', "=", ".", "{", "}", "#", "nan"]) | st.text(max_size=5)
    )
    check_text(TOML[:start] + put + TOML[end:], "toml")


@given(ours.sheets())
@settings(max_examples=min(EXAMPLES, 300), deadline=None)
def test_a_sheet_and_its_json_text_say_the_same(sheet):
    (found,) = readings.read_text(json.dumps(sheet), "json")
    if isinstance(found, readings.Test):
        assert found == readings.read(sheet)
        return
    with pytest.raises(InputError) as caught:
        readings.read(sheet)
    assert [p.field for p in found.problems] == [p.field for p in caught.value.problems]


def test_deep_python_structures_are_refused():
    deep = []
    for _ in range(100_000):
        deep = [deep]
    with pytest.raises(InputError):
        readings.read({"vehicle": deep, "weather": {"air_temperature_c": 20}})
    while deep:  # taken apart by hand: letting go of it whole would recurse in the interpreter
        deep = deep.pop()
