"""A judgement in SI on the left, its published form on the right, and the schema that both are held against."""

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from loopwright import readings
from loopwright.api import wire
from loopwright.diagnosis.judgement import (
    Cause,
    Expected,
    Fit,
    Interval,
    Judgement,
    NextCheck,
    PlanePoint,
    Severity,
    Speaks,
)
from loopwright.errors import InputError

VALIDATOR = Draft202012Validator(wire.schema_out())
TABLE = readings.table()

JUDGEMENT = Judgement(
    id="bay 2",
    engine="0.1.0",
    seed=7,
    seconds=0.31234,
    verdict="does_not_perform",
    reasons=("The vent is warm.",),
    settled=True,
    settled_why="Five minutes running.",
    causes=(
        Cause(
            "undercharge",
            2 / 3,
            Severity("charge_fraction", "1", Interval(0.4812, 0.5604, 0.6601)),
            (Speaks("low_side", "running", 2.1234, "Low."),),
            (),
            ("high_side_restriction",),
        ),
        Cause("gauge_error", 1 / 6, Severity("gauge_offset", "kPa", Interval(-80.0, -51.23, 1.0), "low_side")),
        Cause("healthy", 1 / 6, None),
    ),
    states={
        "evaporating_temperature": Interval(270.15, 273.15, 275.159),
        "condensing_temperature": Interval(320.0, 321.0, 322.0),
        "superheat": Interval(4.0, 6.0, 9.0),
        "subcooling": Interval(0.0, 1.0, 2.0),
        "cooling_capacity": Interval(2000.4, 2500.6, 3000.0),
        "charge": Interval(0.3, 0.34749, 0.4),
    },
    expected=(
        Expected("running", "low_side", "pressure", "Pa", Interval(250e3, 301325.0, 350e3), 305255.0, rule="A rule."),
        Expected("running", "vent_center", "temperature", "K", Interval(278.15, 281.0, 284.0), None),
        Expected("running", "clutch", "duty", "1", Interval(0.5, 0.75, 1.0), 0.8),
        Expected("running", "compressor", "speed", "1/s", Interval(20.0, 25.0, 30.0), 25.0, "minimum"),
    ),
    next_checks=(NextCheck("Weigh", "high_side", 30.0, 0.71239, ("undercharge", "healthy"), "So.", "Gloves."),),
    fit=Fit(1234.5, {"undercharge": -12.3456, "healthy": -math.inf}, 0.41234),
    cautions=("Never vent.",),
    ambient_pressure=101325.0,
    refrigerant="R134a",
    cycle=(PlanePoint("compressor_suction", 300e3, 405.123e3),),
    sources=("gum",),
    warnings=("Look again.",),
)


def test_the_published_form_is_the_contracts():
    out = wire.to_wire(JUDGEMENT)
    assert out["schema"] == 1
    assert (out["id"], out["engine"], out["seed"], out["seconds"]) == ("bay 2", "0.1.0", 7, 0.312)
    assert out["settled"] == {"is": True, "why": "Five minutes running."}
    first, second, third = out["causes"]
    assert first["severity"] == {
        "quantity": "charge_fraction",
        "unit": "1",
        "low": 0.481,
        "median": 0.56,
        "high": 0.66,
        "level": 0.9,
    }
    assert first["for"] == [{"point": "low_side", "phase": "running", "nats": 2.12, "says": "Low."}]
    assert (first["against"], first["also"], first["alike"]) == ([], None, ["high_side_restriction"])
    assert second["severity"]["point"] == "low_side"
    assert third["severity"] is None
    assert [c["probability"] for c in out["causes"]] == [0.6666, 0.1667, 0.1667]
    assert out["states"] == {
        "evaporating_temperature_c": {"low": -3.0, "median": 0.0, "high": 2.01, "level": 0.9},
        "condensing_temperature_c": {"low": 46.85, "median": 47.85, "high": 48.85, "level": 0.9},
        "superheat_k": {"low": 4.0, "median": 6.0, "high": 9.0, "level": 0.9},
        "subcooling_k": {"low": 0.0, "median": 1.0, "high": 2.0, "level": 0.9},
        "cooling_capacity_w": {"low": 2000, "median": 2501, "high": 3000, "level": 0.9},
        "charge_g": {"low": 300, "median": 347, "high": 400, "level": 0.9},
    }
    low, vent, duty, speed = out["expected"]
    assert (low["unit"], low["reference"], low["low"], low["median"], low["high"]) == (
        "kPa",
        "gauge",
        148.7,
        200.0,
        248.7,
    )
    assert (low["measured"], low["rule"], low["statistic"]) == (203.9, "A rule.", "mean")
    assert (vent["unit"], vent["reference"], vent["low"], vent["measured"]) == ("°C", None, 5.0, None)
    assert (duty["unit"], duty["median"], duty["measured"]) == ("%", 75.0, 80.0)
    assert (speed["unit"], speed["median"], speed["statistic"]) == ("rpm", 1500, "minimum")
    assert out["next_checks"][0]["information_bits"] == 0.712
    assert out["fit"]["log_evidence"] == {"undercharge": -12.35, "healthy": None}
    assert out["fit"]["misfit_probability"] == 0.4123
    assert out["cycle"] == [
        {"name": "compressor_suction", "pressure_kpa_absolute": 300.0, "enthalpy_kj_per_kg": 405.12}
    ]
    assert (out["warnings"], out["sources"], out["cautions"]) == (["Look again."], ["gum"], ["Never vent."])


def test_it_is_plain_json_and_valid():
    out = wire.to_wire(JUDGEMENT)
    assert json.loads(json.dumps(out, allow_nan=False)) == out
    assert [e.message for e in VALIDATOR.iter_errors(out)] == []


def test_cannot_say_is_valid_too():
    empty = replace(JUDGEMENT, verdict="cannot_say", causes=(), states={}, expected=(), next_checks=(), cycle=())
    assert VALIDATOR.is_valid(wire.to_wire(empty))


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_what_is_not_finite_is_never_sent_out(bad):
    with pytest.raises(ValueError, match="a judgement holds"):
        wire.to_wire(replace(JUDGEMENT, states={"superheat": Interval(0.0, bad, bad)}))


def test_an_expected_band_can_be_sent_back_as_a_reading():
    """What the tool prints it also reads: unit, reference and point are those of a sheet."""
    for row in wire.to_wire(JUDGEMENT)["expected"]:
        reading = {key: row[key] for key in ("phase", "point", "quantity", "unit", "reference", "statistic")}
        sheet = {
            "vehicle": {"refrigerant": "R134a"},
            "weather": {"air_temperature_c": 31},
            "readings": [{**reading, "value": row["median"]}],
        }
        (found,) = readings.read(sheet).readings
        (expected,) = [e for e in JUDGEMENT.expected if e.point == row["point"]]
        # Printed to 0.1 kPa, 0.01 K, 0.1 % and 1 rpm; half a step of the coarsest of them, relative.
        assert found.value == pytest.approx(expected.interval.median, rel=5e-4)


values = st.floats(1.0, 1e6)
intervals = st.tuples(values, values, values).map(sorted).map(lambda three: Interval(*three))
words = st.text(max_size=10)


@st.composite
def judgements(draw):
    weights = draw(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=8).filter(lambda w: sum(w) > 0.01))
    severity = st.none() | st.builds(Severity, words, words, intervals, st.none() | words)
    causes = tuple(Cause(draw(words), w / sum(weights), draw(severity)) for w in weights)
    rows = []
    for point in draw(st.lists(st.sampled_from(TABLE.read_at()), max_size=4)):
        quantity = draw(st.sampled_from(sorted(TABLE.carries(point))))
        rows.append(Expected("running", point, quantity, "", draw(intervals), draw(st.none() | values)))
    states = draw(st.dictionaries(st.sampled_from(sorted(JUDGEMENT.states)), intervals))
    return replace(
        JUDGEMENT, causes=causes, expected=tuple(rows), states=states, id=draw(words), seed=draw(st.integers())
    )


@given(judgements())
@settings(max_examples=200, deadline=None)
def test_every_judgement_is_valid_and_its_probabilities_add_up_to_one(judgement):
    out = wire.to_wire(judgement)
    assert [e.message for e in VALIDATOR.iter_errors(json.loads(json.dumps(out, allow_nan=False)))] == []
    # Whole ten-thousandths add up exactly; only the sum of their floats is rounded.
    assert math.fsum(c["probability"] for c in out["causes"]) == pytest.approx(1.0, abs=1e-12)
    for printed, cause in zip(out["causes"], judgement.causes, strict=True):
        assert abs(printed["probability"] - cause.probability) <= 1e-4
    for row in out["expected"]:
        assert row["low"] <= row["median"] <= row["high"]


def test_an_error_is_a_problem_document():
    with pytest.raises(InputError) as caught:
        readings.read({"vehicle": {"refrigerant": "R22"}, "weather": {}})
    out = wire.error_to_wire(caught.value.problems, "bay 2", 4)
    assert (out["status"], out["id"], out["line"], out["detail"]) == (
        422,
        "bay 2",
        4,
        "2 problems; nothing was judged.",
    )
    assert [set(e) for e in out["errors"]] == [{"field", "found", "allowed", "says", "line"}] * 2
    assert json.loads(json.dumps(out)) == out


def test_a_caller_cannot_spoil_the_schema_for_others():
    wire.schema_in()["properties"].clear()
    assert wire.schema_in()["properties"]
