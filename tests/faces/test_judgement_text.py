"""The terminal text: what a technician must find in it, in which order, and how wide it is."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from judgement_by_hand import CANNOT_SAY, PERFORMS, SHEET, SHORT

from loopwright.diagnosis.judgement import Cause, Interval, Severity
from loopwright.figures import SI, Terms, judgement_text
from loopwright.figures.layout import WIDTH
from loopwright.figures.words import count, counts, headline, severity_text, together
from loopwright.readings import read

TERMS = Terms.of(read(SHEET))


def lines(text: str, beginning: str) -> list[str]:
    return [line for line in text.splitlines() if line.strip().startswith(beginning)]


@pytest.mark.parametrize("judgement", [SHORT, PERFORMS, CANNOT_SAY])
@pytest.mark.parametrize("terms", [TERMS, SI])
def test_no_line_is_wider_than_the_terminal(judgement: object, terms: Terms) -> None:
    assert max(map(len, judgement_text(judgement, terms).splitlines())) <= WIDTH  # type: ignore[arg-type]


def test_the_parts_stand_in_the_order_of_the_work() -> None:
    text = judgement_text(SHORT, TERMS)
    parts = [
        "Does not perform",
        "CAUSES",
        "READINGS",
        "WHAT THE READINGS TELL",
        "NEXT CHECK",
        "MORE CHECKS",
        "CAUTIONS",
    ]
    places = [text.index(part) for part in parts]
    assert places == sorted(places)


def test_the_sentence_names_weather_cause_and_count() -> None:
    says = headline(SHORT, TERMS)
    assert says == ("Does not perform for 88 °F and 45 % humidity: short of refrigerant is the likely cause, 8 in 10.")
    assert headline(PERFORMS) == "Performs."
    unwell = replace(PERFORMS, causes=(Cause("overcharge", 0.7, None), Cause("healthy", 0.3, None)))
    assert headline(unwell) == "Performs, yet not all is well: too much refrigerant is the likely cause, 7 in 10."
    assert headline(CANNOT_SAY) == "Cannot say what these readings mean."
    assert "had not settled" in headline(replace(CANNOT_SAY, settled=False))


def test_values_stand_in_the_units_of_the_sheet() -> None:
    text = judgement_text(SHORT, TERMS)
    assert any("142 psi" in line and "below" in line and "164–226" in line for line in lines(text, "High side"))
    assert any("61 °F" in line and "above" in line for line in lines(text, "Centre vent"))
    in_si = judgement_text(SHORT, SI)
    assert any("979 kPa" in line for line in lines(in_si, "High side"))
    assert any("16.1 °C" in line for line in lines(in_si, "Centre vent"))


def test_a_reading_not_taken_shows_what_to_expect() -> None:
    (line,) = lines(judgement_text(SHORT, SI), "Condenser outlet pipe")
    assert "40–52" in line
    assert "●" not in line


def test_causes_that_look_alike_stand_together_and_say_so() -> None:
    text = judgement_text(SHORT, TERMS)
    at = text.splitlines()
    (start,) = [i for i, line in enumerate(at) if "look alike" in line]
    assert "18" in at[start]
    assert all("  = " in at[i] for i in (start + 1, start + 3))


def test_grouping_does_not_need_both_to_name_each_other() -> None:
    one = Cause("overcharge", 0.4, None, alike=("non_condensable_gas",))
    other = Cause("non_condensable_gas", 0.3, None)
    third = Cause("healthy", 0.3, None)
    assert together([one, third, other]) == [[one, other], [third]]


def test_alike_causes_share_the_sentence() -> None:
    one = Cause("overcharge", 0.4, None, alike=("non_condensable_gas",))
    other = Cause("non_condensable_gas", 0.35, None, alike=("overcharge",))
    says = headline(replace(SHORT, causes=(one, other, Cause("healthy", 0.25, None))))
    assert " or " in says
    assert "8 in 10" in says


def test_the_next_check_carries_its_caution_and_its_outcomes() -> None:
    text = judgement_text(SHORT, TERMS)
    card = text[text.index("NEXT CHECK") : text.index("MORE CHECKS")]
    assert "2 minutes" in card
    assert lines(card, "!")
    assert lines(card, ">")
    assert "tells apart: short of refrigerant" in card


def test_a_rule_of_thumb_says_that_it_is_one() -> None:
    text = judgement_text(SHORT, TERMS)
    rules = text[text.index("Rules of thumb (common practice)") : text.index("WHAT THE READINGS TELL")]
    assert "High side running: In psi about two to three times" in rules


@given(st.lists(st.floats(0.001, 1.0), min_size=1, max_size=12))
def test_counts_add_up_to_the_whole(weights: list[float]) -> None:
    shares = [w / sum(weights) for w in weights]
    whole = counts(shares)
    assert sum(whole) == 100
    assert all(abs(n - 100 * share) < 1.0 for n, share in zip(whole, shares, strict=True))


@given(st.floats(0.0, 1.0))
def test_a_count_is_true_to_its_probability(probability: float) -> None:
    says = count(probability)
    if says.startswith(("less", "more")):
        assert (probability < 0.005) or (probability > 0.995)
    else:
        hits, out_of = (int(word) for word in says.split(" in "))
        assert abs(hits / out_of - probability) <= 0.5 / out_of + 1e-9  # rounded to the nearest count


@pytest.mark.parametrize(
    ("severity", "says"),
    [
        (Severity("charge_fraction", "1", Interval(0.48, 0.56, 0.66)), "charge 56 % of the label (48 to 66)"),
        (Severity("gauge_offset", "kPa", Interval(-70.0, -50.0, -32.0), "low_side"), "low side gauge off by -50 kPa"),
        (Severity("something_new", "K", Interval(1.0, 2.0, 3.0)), "something new 2 K (1 to 3)"),
    ],
)
def test_severity_reads_as_a_person_would_say_it(severity: Severity, says: str) -> None:
    assert severity_text(severity).startswith(says)
