"""Jurisdiction cards, what they ask, and the ledger's answer for an inspector."""

from __future__ import annotations

import csv
import io
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shop import AT, OPENING, draft, kept, post

from loopwright.errors import InputError
from loopwright.ledger import Account, Draft, Entry, Equipment, Opened, Operator, Registered
from loopwright.ledger.law import how_sure, jurisdiction, jurisdictions
from loopwright.ledger.records import movements, records, to_csv


def test_every_card_says_what_it_rests_on_and_how_that_was_obtained() -> None:
    assert {*jurisdictions()} >= {"us_federal", "european_union", "great_britain", "australia"}
    for card in jurisdictions().values():
        assert card.rules
        assert card.note
        for rule in card.rules:
            assert rule.asks.endswith(".")
            assert all(says.endswith(")") for says in how_sure(rule))
    assert "from memory, not read" in " ".join(how_sure(jurisdiction("european_union").rules[0]))


def test_the_united_states_ask_for_three_years_and_three_things() -> None:
    """40 CFR 82.42 as in tests/published/data/law_dates.csv (read in a repository)."""
    card = jurisdiction("us_federal")
    assert card.keep_years == 3
    assert {need for rule in card.rules for need in rule.needs} == {"equipment", "sent", "operators"}


def test_an_unknown_jurisdiction_names_those_that_there_are() -> None:
    with pytest.raises(InputError, match="us_federal"):
        jurisdiction("atlantis")


def _shop() -> list[Entry]:
    books, postings = kept(OPENING, "open cylinder X R134a recovered")
    acts: list[str | Draft] = [
        Draft("r", AT, "Ann", Opened(Account("R", "reclaimer", name="Clean Ltd", address="1 Mill Lane"))),
        Draft("d", AT, "Ann", Opened(Account("D", "destruction"))),
        Draft(
            "n",
            AT,
            "Ann",
            Opened(Account("N", "machine", "R134a", "recovered", equipment=Equipment("Make", "7", "S1"))),
        ),
        Draft("o", AT, "Ann", Registered(Operator("Ann", "Training body", "A-17", "2024-03-01", "binder 2"))),
        "V > X 400 15",
        "X > R 300 10",
        "X > D 50 10",
        "X > R 50 10",
        "reverse 17",
    ]
    return [p.entry for p in [*postings, *(post(books, act) for act in acts)]]


def test_who_it_was_sent_to_who_did_it_and_with_what() -> None:
    answer = records(_shop(), jurisdiction("us_federal"))
    assert [(row["facility"], row["name"], row["address"], row["mass_g"]) for row in answer.sent] == [
        ("R", "Clean Ltd", "1 Mill Lane", 300),
        ("D", "", "", 50),
    ]  # and not the one that was reversed
    assert [(row["operator"], row["certificate"], row["proof"]) for row in answer.operators] == [
        ("Ann", "A-17", "binder 2")
    ]
    assert [row["machine"] for row in answer.equipment] == ["M", "N"]
    assert answer.gaps == (
        "The facility D has no name, no address in the ledger.",
        "The machine M has no make, no model, no serial, no manufactured in the ledger.",
        "The machine N has no manufactured in the ledger.",
    )


def test_quarters_add_up_as_one_would_by_hand() -> None:
    entries = _shop()
    (row,) = records(entries, jurisdiction("australia")).quarters
    assert row == {
        "quarter": "2026-Q3",
        "refrigerant": "R134a",
        "bought_g": 10000,
        "returned_g": 0,
        "recovered_g": 400,
        "charged_g": 500,
        "sent_g": 350,
        "lost_g": 0,
    }


def test_only_since_a_day() -> None:
    entries = _shop()
    assert records(entries, jurisdiction("us_federal"), since="2026-07-02").sent == ()
    assert movements(entries, since="2026-07-02") == []
    assert len(movements(entries, since="2026-07-01")) == 14


def test_movements_hold_both_sides_and_what_became_of_them() -> None:
    rows = movements(_shop())
    assert sum(float(row["mass_g"] or 0) for row in rows) == 0
    assert {(row["entry"], row["reversed_by"], row["reverses"]) for row in rows if row["entry"] in (17, 18)} == {
        (17, 18, None),
        (18, None, 17),
    }
    assert {row["certificate"] for row in rows} == {"A-17"}
    assert {row["refrigerant"] for row in rows} == {"R134a"}


TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), max_size=20)


@given(note=TEXTS)
def test_csv_reads_back_and_runs_nothing(note: str) -> None:
    text = to_csv([{"note": note, "mass_g": -5.25}])
    ((cell, mass),) = list(csv.reader(io.StringIO(text, newline="")))[1:]
    assert cell in (note, "'" + note)
    assert not cell.startswith(("=", "+", "-", "@"))
    assert mass == "-5.25"


def test_no_rows_no_csv_and_json_takes_them_as_they_are() -> None:
    assert to_csv([]) == ""
    assert json.loads(json.dumps(movements(_shop())))[0]["account"] == "S"


def test_a_draft_is_a_draft() -> None:
    """The lines of text used here make what they say."""
    made = draft("A > V 5 1")
    assert [(leg.account, leg.mass_mg, leg.variance_mg2) for leg in made.legs] == [
        ("A", -5000, 10**6),
        ("V", 5000, 10**6),
    ]
