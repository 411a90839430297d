"""What the fault cards say of the two gauges, against the signs in army manuals and other published tables.

`obtained` in the table says how each row reached us; a row from memory is marked in the test's own name.
"""

import csv
import re
from pathlib import Path

import pytest

from loopwright.faults import catalogue

TABLE = Path(__file__).parent / "data" / "fault_symptoms.csv"
FAULTS = {
    "undercharge": "undercharge",
    "overcharge": "overcharge",
    "air (NCG) in system": "non_condensable_gas",
    "condenser airflow low": "condenser_airflow_loss",
    "high-side restriction": "high_side_restriction",
    "receiver inlet / outlet blocked": "high_side_restriction",
    "TXV stuck closed": "expansion_restricted",
    "TXV stuck open": "expansion_stuck_open",
    "compressor worn / reed valve": "compressor_worn",
    "suction restriction": "suction_restriction",
    "dirty evaporator / low blower": "evaporator_airflow_loss",
    "too much oil": "excess_oil",
    "variable compressor not stroking": "compressor_low_stroke",
}
LEFT_OUT = {"normal", "moisture freezing at expansion device"}  # no direction of a gauge: by table, and in turns
WORDS = ("low", "normal", "high")
OPPOSITE = {"low": "high", "high": "low"}


def rows():
    with TABLE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def directions(text):
    return {word for word in WORDS if re.search(rf"\b{word}\b", text)}


def said(fault, side):
    """What the card says of one side: the words after its name, up to the other side's name."""
    looks = " ".join(catalogue()[fault].looks).lower()
    found = re.findall(rf"\b{side} side (.*?)(?=[.;]|\b(?:low|high) side\b)", looks)
    return " ".join(found)


def test_every_row_of_the_table_is_used_or_left_out_for_a_reason():
    assert {r["fault"] for r in rows()} == FAULTS.keys() | LEFT_OUT


@pytest.mark.parametrize("side", ["low", "high"])
@pytest.mark.parametrize(
    "row",
    [r for r in rows() if r["fault"] in FAULTS],
    ids=lambda r: f"{r['fault']} ({r['obtained']})",
)
def test_card_and_table_agree_on_the_gauges(row, side):
    published = directions(row[f"{side}_side"])
    on_the_card = said(FAULTS[row["fault"]], side)
    assert published
    assert published <= directions(on_the_card)
    if "port" not in on_the_card:  # where the reading depends on the port's place the card says both
        assert not {OPPOSITE[w] for w in published & OPPOSITE.keys()} - published & directions(on_the_card)
