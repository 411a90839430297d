"""The jurisdiction cards against the table of law dates: who asks for what, for how long, and how that was obtained."""

from __future__ import annotations

import csv
from pathlib import Path

from loopwright.cards import sources
from loopwright.ledger.law import jurisdiction, jurisdictions

DATA = Path(__file__).parent / "data" / "law_dates.csv"


def _row(provision: str) -> dict[str, str]:
    with DATA.open(encoding="utf-8", newline="") as file:
        (row,) = [row for row in csv.DictReader(file) if row["provision"] == provision]
    return row


def test_records_kept_in_the_united_states() -> None:
    """40 CFR 82.42 of the 2015 annual edition, read in a repository."""
    kept, stated = _row("40 CFR 82.42(b)"), _row("40 CFR 82.42(a)")
    card = jurisdiction("us_federal")
    assert kept["date_or_value"] == f"{card.keep_years} years minimum"
    assert "address of any facility refrigerant is sent to" in kept["requirement"]
    asked = {need: rule for rule in card.rules for need in rule.needs}
    assert [asked[need].provision for need in ("sent", "operators")] == [kept["provision"]] * 2
    assert asked["equipment"].provision == stated["provision"]
    for word in ("make", "model", "serial", "address", "date of manufacture"):
        assert word in stated["requirement"].casefold()
        assert word.removeprefix("serial") in asked["equipment"].asks
    for rule in card.rules:
        assert {kept["obtained"], stated["obtained"]} == {sources()[str(rule.source)].obtained}


def test_every_jurisdiction_is_at_most_as_sure_as_its_table() -> None:
    """The attestation of Regulation 307/2008 was read in a page; what the Union asks to be recorded was recalled."""
    assert _row("Reg. 307/2008 as retained")["obtained"] == "page" == sources()["gb-307-2008"].obtained
    assert sources()["eu-2024-573-records"].obtained == "memory"
    assert "Low confidence" in jurisdictions()["european_union"].note
