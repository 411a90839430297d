"""The published JSON Schema and `read` agree: what the schema refuses is refused, what it accepts is understood.

The schema is the narrower of the two for text (exotic spellings are read but not published), and the wider for what
needs more than one value (a unit that contradicts, what a gauge can show at an altitude).
"""

import json
from importlib.resources import files

import pytest
import strategies as ours
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from sheets import whole
from test_read import CASES

from loopwright.api import schemas, wire
from loopwright.readings.gather import Gather
from loopwright.readings.read import assemble

VALIDATOR = Draft202012Validator(wire.schema_in())
quick = settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
BEYOND_A_SCHEMA = (  # needs the unit, the altitude or the other value
    "Too ",
    "Above the pressure",
    "Below a full vacuum",
    "Two different units",
    "The value says one reference",
    "No instrument is without error",
    "Not a finite number",
)


def understood(sheet):
    gather = Gather()
    assemble(sheet, gather)
    return gather.problems


@pytest.mark.parametrize(("name", "build"), [("sheet", schemas.build_in), ("judgement", schemas.build_out)])
def test_the_stored_schema_is_fresh_and_valid(name, build):
    stored = (files("loopwright.api") / "schema" / f"{name}.json").read_text(encoding="utf-8")
    assert stored == schemas.text_of(build()), "run python -m loopwright.api.schemas"
    Draft202012Validator.check_schema(json.loads(stored))


def test_the_whole_sheet_of_the_contract_is_valid():
    assert [e.message for e in VALIDATOR.iter_errors(whole())] == []


@quick
@given(ours.sheets())
def test_a_well_formed_sheet_is_accepted_by_both(sheet):
    assert [e.message for e in VALIDATOR.iter_errors(sheet)] == []
    assert understood(sheet) == []


IN_EVERY_DAY_TEXT = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**6), 10**6) | st.floats(allow_nan=False, allow_infinity=False),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.sampled_from(["value", "unit", "x"]), inner),
    max_leaves=4,
) | st.sampled_from(["", "high", "30 psi", "41 °F", "45 %", "1,500", "R22", "kPa", "mean", "x" * 3000])


@quick
@given(ours.spoilt(IN_EVERY_DAY_TEXT))
def test_a_spoilt_sheet_is_judged_alike_by_both(sheet):
    accepted = VALIDATOR.is_valid(sheet)
    problems = understood(sheet)
    if accepted:
        assert [p for p in problems if not p.says.startswith(BEYOND_A_SCHEMA)] == []
    else:
        assert problems, [e.message for e in VALIDATOR.iter_errors(sheet)]


IN_JSON = [case for case in CASES if case[0] != "7" and case[2] not in ("Half of a character", "Not a finite number")]


@pytest.mark.parametrize(("field", "change", "says"), IN_JSON, ids=[f"{f} {s}" for f, _, s in IN_JSON])
def test_each_kind_of_problem_is_refused_by_the_schema_where_it_can_know(field, change, says):
    sheet = whole()
    change(sheet)
    beyond = [p for p in understood(sheet) if p.says.startswith(BEYOND_A_SCHEMA)]
    assert not VALIDATOR.is_valid(sheet) or beyond


def test_patterns_use_only_what_every_dialect_of_regular_expressions_knows():
    text = json.dumps(wire.schema_in())
    for python_only in ("(?i)", "(?P<", "\\\\Z", "\\\\A", "\\\\-", "(?<"):
        assert python_only not in text
