"""Every card of the catalogue passes the same class of checks; what one card must say stands below."""

import math
import re
from dataclasses import replace
from itertools import product

import pytest
from card_words import faults_of

from loopwright import cards
from loopwright.circuit.record import FIELDS
from loopwright.errors import CardError
from loopwright.faults import Fault, catalogue, cautions
from loopwright.faults.catalogue import Resembles
from loopwright.faults.catalogue import _check_references as check_references

# Ids and severity quantities as the published contract fixes them; None: there is no "how bad". The contract leaves the
# quantity of a contaminated refrigerant open.
CONTRACT = {
    "healthy": None,
    "undercharge": "charge_fraction",
    "overcharge": "charge_fraction",
    "non_condensable_gas": "foreign_gas_g",
    "condenser_airflow_loss": "airflow_fraction",
    "evaporator_airflow_loss": "airflow_fraction",
    "high_side_restriction": "area_fraction",
    "expansion_restricted": "area_fraction",
    "expansion_stuck_open": "area_fraction",
    "compressor_worn": "flow_fraction",
    "compressor_low_stroke": "stroke_fraction",
    "compressor_not_driven": None,
    "suction_restriction": "area_fraction",
    "warm_air_mixing": "heater_share",
    "gauge_error": "gauge_offset",
    "excess_oil": "oil_fraction",
    "contaminated_refrigerant": "pressure_shift",
}
# "All are one when healthy except": these are zero, or the design value of the circuit record.
NOT_ONE = {
    "foreign_gas_g": 0.0,
    "heater_share": 0.0,
    "gauge_offset": 0.0,
    "pressure_shift": 0.0,
    "oil_fraction": FIELDS["oil_fraction"].default,
}
VEHICLES = list(product(("thermostatic", "orifice"), ("fixed", "variable", "electric")))

every_fault = pytest.mark.parametrize("fault", catalogue().values(), ids=lambda f: f.id)


def test_the_contract_s_faults_are_there_and_healthy_comes_first():
    assert catalogue().keys() == CONTRACT.keys()
    assert next(iter(catalogue())) == "healthy"


@every_fault
def test_severity_is_the_contract_s(fault):
    assert (fault.severity and fault.severity.quantity) == CONTRACT[fault.id]
    if fault.severity:
        assert fault.severity.healthy == NOT_ONE.get(fault.severity.quantity, 1.0)


@every_fault
def test_no_range_reaches_the_healthy_value(fault):
    # A stuck valve is the exception: its severity is the opening at which it stays, and fully open is no health.
    for variant in fault.variants:
        severity = fault.severity_of(variant)
        if severity and [b.field for b in variant.bends] != ["valve_stuck"]:
            assert not severity.low <= severity.healthy <= severity.high


@every_fault
def test_variants_stay_inside_the_fault_s_own_range(fault):
    for variant in fault.variants:
        severity = fault.severity_of(variant)
        if severity:
            assert fault.severity.low <= severity.low < severity.high <= fault.severity.high


@every_fault
def test_healthy_severity_leaves_a_bent_field_as_it_was(fault):
    for variant in fault.variants:
        for bend in variant.bends:
            if bend.field != "valve_stuck":
                default = FIELDS[bend.field].default
                assert bend.value(default, fault.severity.healthy) == pytest.approx(default, abs=1e-12)


@every_fault
def test_only_what_is_healthy_changes_nothing(fault):
    assert (fault.id == "healthy") == (not any(v.bends or v.fixed for v in fault.variants))


@every_fault
@pytest.mark.parametrize(("expansion", "compressor"), VEHICLES)
def test_shares_of_the_variants_add_up_to_one(fault, expansion, compressor):
    shares = [v.weight for v in fault.variants_for(expansion, compressor)]
    assert fault.applies(expansion, compressor) == bool(shares)
    assert not shares or math.isclose(sum(shares), 1.0, rel_tol=1e-12)


def test_only_a_low_stroke_asks_for_a_variable_compressor():
    left_out = {(f.id, c) for f in catalogue().values() for e, c in VEHICLES if not f.applies(e, c)}
    assert left_out == {("compressor_low_stroke", "fixed"), ("compressor_low_stroke", "electric")}


def test_a_stuck_valve_is_a_valve_and_an_open_tube_a_tube():
    def fields(expansion):
        return [b.field for v in catalogue()["expansion_stuck_open"].variants_for(expansion) for b in v.bends]

    assert fields("thermostatic") == ["valve_stuck"]
    assert fields("orifice") == ["expansion_area"]
    assert fields(None) == ["valve_stuck", "expansion_area"]


def test_a_wrong_gauge_bends_the_gauge_at_its_point():
    for variant in catalogue()["gauge_error"].variants:
        assert variant.bends[0].field == variant.point.replace("_side", "_gauge_offset")
        assert ("high" in variant.name.removeprefix(variant.point.replace("_", "-"))) == (variant.low > 0.0)


def texts(fault):
    yield from (fault.plain, fault.note)
    yield from (*fault.looks, *fault.sounds, *fault.feels, *fault.repair)
    yield from (r.tell_apart for r in fault.resembles)
    yield from (t for p in fault.proves for t in (p.act, p.result))


@every_fault
def test_texts_are_short_whole_sentences(fault):
    assert {t: faults_of(t) for t in texts(fault) if t != fault.note and faults_of(t)} == {}
    assert all((fault.looks, fault.sounds, fault.feels, fault.repair, fault.cautions, fault.resembles, fault.proves))


@every_fault
def test_plain_words_are_two_sentences_and_the_name_fits_inside_one(fault):
    assert len(re.findall(r"[.!?](?:\s|$)", fault.plain)) == 2
    assert fault.name == fault.name.strip().lower()
    assert fault.name[-1].isalpha()


@every_fault
def test_no_other_fault_is_named_twice_as_like_it(fault):
    names = [r.fault for r in fault.resembles]
    assert len(names) == len(set(names))
    assert fault.id not in names


# Words of an act, and the caution that must then stand on the card.
ACTS = {
    r"\b[Rr]ecover\b": {"recover_first", "identify"},
    r"\bcharge by mass\b": {"charge_by_mass"},
    r"\bnitrogen\b": {"nitrogen"},
    r"\b[Ff]an\b.*\b(control|made safe|supply)\b": {"fan_starts"},
    r"\bwarm wet cloth\b": {"no_flame"},
    r"\bblower\b.*\b(supply|control)\b": {"blower"},
    r"\bcoolant\b": {"coolant"},
    r"\bknocks\b": {"liquid_slugging"},
    r"^[Ll]ow side normal to high, high side high|^High side high": {"high_pressure"},
    r"^Clean the face": {"cleaning"},
    r"\bburn": {"unknown_refrigerant"},
}


@every_fault
def test_cautions_stand_where_the_act_is(fault):
    acts = (fault.plain, *fault.looks, *fault.sounds, *fault.repair, *(p.act for p in fault.proves))
    needed = {key for text in acts for act, keys in ACTS.items() if re.search(act, text) for key in keys}
    assert needed <= set(fault.cautions), needed - set(fault.cautions)


@every_fault
def test_an_opened_circuit_may_be_flammable_or_of_high_voltage(fault):
    if "recover_first" not in fault.cautions:
        return
    assert {"flammable", "unknown_refrigerant"} & set(fault.cautions)
    if any(v.bends and v.bends[0].field in {"flow_fraction", "expansion_area"} for v in fault.variants):
        assert "high_voltage" in fault.cautions


def test_every_caution_is_used_short_and_names_its_act():
    used = {key for fault in catalogue().values() for key in fault.cautions}
    unused = cautions().keys() - used
    assert unused == {"exhaust"}  # belongs to the act of testing, not to a fault
    for caution in cautions().values():
        assert faults_of(caution.says) == []
        assert caution.act[0].isupper()
        assert caution.act[-1].isalpha() or caution.act[-1] == ")"
        assert len(str(caution).split()) <= 30


def test_cautions_keep_to_the_vehicle():
    voltage, flame = cautions()["high_voltage"], cautions()["flammable"]
    assert voltage.applies(compressor="electric")
    assert not voltage.applies(compressor="fixed")
    assert flame.applies("R1234yf")
    assert not flame.applies("R134a")
    assert voltage.applies()  # not known: keep it
    assert flame.applies()


@every_fault
def test_judgement_and_memory_are_said(fault):
    assert "judgement" in fault.note
    if "trade-recalled" in fault.source or "breuker-braun-1998" in fault.source:
        assert "memory" in fault.note
    if "common-practice" in fault.source:
        assert "no source" in fault.note


# A card of the least that a fault can be, and the same with one thing wrong.
LEAST = """
schema = 1
source = "our-judgement"
note = "judgement"
name = "a fault"
prior_weight = 1
plain = "One. Two."
looks = []
sounds = []
feels = []
repair = []
cautions = []
resembles = []
proves = []
"""
BENT = "severity = {quantity = 'x', unit = '1', healthy = 1, distribution = 'uniform', low = 0.1, high = 1}\n"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("variants = [{bends = [{field = 'chrage', how = 'set'}]}]\n" + BENT, "not 'chrage'"),
        ("variants = [{fixed = [{field = 'drivn', value = 0}]}]", "not 'drivn'"),
        ("variants = [{bends = [{field = 'charge', how = 'set'}]}]", "severity exactly where"),
        ("variants = [{}]\n" + BENT, "severity exactly where"),
        (
            "variants = [{bends = [{field = 'charge', how = 'set'}]}]\n" + BENT.replace("high = 1}", "high = 0}"),
            "low below high",
        ),
        (
            "variants = [{bends = [{field = 'charge', how = 'set'}]}]\n"
            + BENT.replace("'uniform', low = 0.1", "'log_uniform', low = 0"),
            "above zero",
        ),
        ("variants = [{bends = [{field = 'charge', how = 'double'}]}]\n" + BENT, "Not one of the allowed values"),
        ("variants = [{}]\napplies_to = {compressor = ['steam']}", "Not one of the allowed values"),
    ],
)
def test_a_wrong_card_is_refused(text, says):
    with pytest.raises(CardError, match=re.escape(says)):
        cards.load_text(LEAST + text, Fault, "faults/catalogue/least.toml")


def test_a_card_that_names_what_is_not_there_is_refused():
    # Checked when the whole catalogue is read: one wrong card among the right ones.
    short = catalogue()["undercharge"]
    with pytest.raises(CardError, match="undercharge: no caution 'no_such_caution'"):
        check_references(replace(short, cautions=("no_such_caution",)), catalogue())
    with pytest.raises(CardError, match="undercharge: resembles 'undercharge'"):
        check_references(replace(short, resembles=(Resembles("undercharge", "It is itself."),)), catalogue())
