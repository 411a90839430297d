"""Every check card passes the same class of checks, and together they reach what the contract lets a sheet hold."""

import re
from dataclasses import replace
from itertools import product

import pytest
from card_words import faults_of

from loopwright import cards
from loopwright.diagnosis.checks import Check, checks
from loopwright.errors import CardError
from loopwright.faults import catalogue
from loopwright.readings.points import table

PIPES = {
    "compressor_suction",
    "compressor_discharge",
    "condenser_inlet",
    "condenser_outlet",
    "drier_outlet",
    "expansion_inlet",
    "evaporator_inlet",
    "evaporator_outlet",
}
# point and quantity of the readings that a technician can add to a sheet, as the contract names them
READINGS = {
    (p, "temperature") for p in PIPES | {"vent_center", "condenser_air_in", "condenser_air_out", "cabin_air_in"}
}
READINGS |= {("low_side", "pressure"), ("high_side", "pressure"), ("clutch", "duty"), ("compressor", "speed")}
READINGS |= {("vent_center", "air_speed"), ("condenser_air_in", "air_speed")}
FELT = PIPES - {"evaporator_inlet", "compressor_discharge"}
OBSERVED = {(p, "felt") for p in FELT} | {("vent_center", "airflow")}
OBSERVED |= {(p, "seen") for p in ("sight_glass", "condenser_fan", "clutch")}
REVEALED = {
    "charge",
    "contamination",
    "low_gauge_offset",
    "high_gauge_offset",
    "condenser_air_fraction",
    "evaporator_air_fraction",
    "heater_share",
    "foreign_gas",
    "oil_fraction",
    "stroke_limit",
}

every_check = pytest.mark.parametrize("check", checks().values(), ids=lambda c: c.id)


def given(kind):
    return {(g.point, g.quantity) for c in checks().values() if c.kind == kind for g in c.gives}


def test_every_reading_and_observation_worth_taking_has_its_check():
    assert given("reading") == READINGS
    assert given("observation") == OBSERVED
    assert {quantity for _, quantity in given("direct")} == REVEALED


@every_check
def test_what_it_yields_can_be_written_on_a_sheet(check):
    for gives in check.gives:
        if check.kind == "reading":
            assert gives.quantity in table().carries(gives.point)
        elif check.kind == "observation":
            assert gives.quantity in table().observed(gives.point)
        assert gives.point in table().points


def test_pressures_can_be_read_standing_running_and_after_stop():
    phases = {(c.phase, g.point) for c in checks().values() for g in c.gives if g.quantity == "pressure"}
    assert phases == set(product(("standing", "running", "after_stop"), ("low_side", "high_side")))
    assert {g.time for g in checks()["read_after_stop"].gives} == {60.0}


@every_check
def test_texts_are_short_whole_sentences(check):
    said = (*check.how, check.caution, *(o.means for o in check.outcomes))
    assert {t: faults_of(t) for t in said if faults_of(t)} == {}
    assert 2 <= len(check.how) <= 4
    assert len(check.outcomes) >= 2
    assert all(o.result.strip() and o.faults for o in check.outcomes)
    assert check.name[0].isupper()
    assert check.name[-1].isalpha()
    assert len(check.caution.split()) <= 22  # one line on a phone or in a terminal of 80 (judgement)


# What a check touches, and the words that its caution must then hold.
TOUCHES = {
    "port": (lambda c: touches(c, "pressure") and c.phase != "after_stop", "[Gg]oggles and gloves"),
    "service": (lambda c: c.id in {"weigh_charge", "measure_oil", "identify_refrigerant"}, "[Gg]oggles and gloves"),
    "swap": (lambda c: c.id in {"compare_gauges", "weigh_charge"}, "coupler valves? before the hoses? comes? off"),
    "vent": (lambda c: c.id in {"standing_soak_gas_test", "weigh_charge", "measure_oil"}, "[Rr]ecover|Certified"),
    "fan": (lambda c: any("condenser" in g.point for g in c.gives) and "inlet" not in c.point, "fan|can start"),
    "hot pipe": (lambda c: c.point in {"compressor_discharge", "condenser_inlet"}, "burns"),
    "compressor": (lambda c: c.point in {"compressor_suction", "compressor_discharge"}, "[Oo]range cables"),
    "drive": (lambda c: c.id in {"read_compressor_speed", "measure_oil"}, "[Oo]range cables"),
    "belt": (lambda c: c.point == "clutch", "belt"),
    "load": (lambda c: c.id in {"command_full_stroke", "read_high_side"}, "limit"),
    "coolant": (lambda c: c.id == "check_heater_door", "[Cc]oolant"),
}


def touches(check, quantity):
    return any(g.quantity == quantity for g in check.gives)


@every_check
def test_cautions_stand_where_the_hand_goes(check):
    for what, (applies, words) in TOUCHES.items():
        if applies(check):
            assert re.search(words, check.caution), what


def test_every_touch_is_met_by_a_check():
    for what, (applies, _) in TOUCHES.items():
        assert any(applies(c) for c in checks().values()), what


@every_check
def test_nothing_is_connected_for_service_before_it_is_identified(check):
    if check.kind == "direct" and {g.quantity for g in check.gives} & {"charge", "oil_fraction"}:
        assert "identify_refrigerant" in check.requires


def test_every_fault_is_pointed_to_by_several_checks():
    named = [f for c in checks().values() for f in {f for o in c.outcomes for f in o.faults}]
    assert {f for f in catalogue() if named.count(f) < 2} == set()


def test_checks_keep_to_the_parts_a_vehicle_has():
    def left_out(expansion, compressor):
        return {c.id for c in checks().values() if not c.applies(expansion, compressor)}

    assert left_out("thermostatic", "fixed") == {"command_full_stroke"}
    assert left_out("orifice", "variable") == {
        "read_drier_outlet", "feel_drier_outlet", "look_sight_glass", "look_clutch", "read_compressor_duty",
    }  # fmt: skip
    assert left_out(None, None) == set()


def test_times_are_the_technician_s_and_waits_are_apart():
    by_id = checks()
    assert by_id["weigh_charge"].minutes == 35
    assert by_id["standing_soak_gas_test"].minutes < 15 < by_id["standing_soak_gas_test"].wait_minutes
    assert all(c.minutes <= 1 for c in by_id.values() if c.kind == "observation")


@every_check
def test_judgement_is_said(check):
    assert "udgement" in check.note
    assert "our-judgement" in check.source


LEAST = """
schema = 1
source = "our-judgement"
note = "judgement"
name = "Look"
kind = "{kind}"
phase = "running"
minutes = 1
how = ["Look."]
caution = "Keep clear."
outcomes = []
gives = [{gives}]
"""


@pytest.mark.parametrize(
    ("kind", "gives", "says"),
    [
        ("reading", "{point = 'low_side', quantity = 'pressure'}", "a sigma above zero"),
        ("observation", "{point = 'clutch', quantity = 'seen', sigma = 1}", "none for an observation"),
        ("direct", "{point = 'low_side', quantity = 'chrage', sigma = 1}", "not 'chrage'"),
        ("guess", "{point = 'clutch', quantity = 'seen'}", "Not one of the allowed values"),
    ],
)
def test_a_wrong_card_is_refused(kind, gives, says):
    with pytest.raises(CardError, match=re.escape(says)):
        cards.load_text(LEAST.format(kind=kind, gives=gives), Check, "diagnosis/checks/least.toml")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"requires": ("read_nothing",)}, "requires 'read_nothing'"),
        ({"requires": ("read_after_stop",)}, "require each other"),
    ],
)
def test_a_card_that_does_not_fit_the_others_is_refused(change, says, monkeypatch):
    whole = dict(checks())
    whole["read_low_side"] = replace(whole["read_low_side"], **change)
    monkeypatch.setattr("loopwright.diagnosis.checks.load_all", lambda *_: whole)
    with pytest.raises(CardError, match=says):
        checks.__wrapped__()
