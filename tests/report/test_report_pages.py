"""What stands on the pages: the customer's one, and the inspector's appendix."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest
from vans import MADE, before_and_after, judged, pages, plain, read_back, sheet, squeezed, whole

from loopwright.cards import sources
from loopwright.figures import placed
from loopwright.figures.terms import row
from loopwright.figures.words import headline, place_word, severity_text
from loopwright.report import Movement, Refrigerant, Report, Run, Step, pdf


@pytest.fixture(scope="module")
def full() -> list[str]:
    return pages(pdf(whole()))


def test_the_customer_reads_both_sentences_on_the_first_page(full: list[str]) -> None:
    before, after = before_and_after()
    assert after.judgement.verdict == "performs"
    assert before.judgement.verdict == "does_not_perform"
    first = squeezed(full[0])
    said = [squeezed(headline(run.judgement, run.terms)) for run in (after, before)]
    assert all(sentence in first for sentence in said)
    assert first.index(said[0]) < first.index(said[1])  # how it is now stands first
    assert all(squeezed(reason) in first for run in (before, after) for reason in run.judgement.reasons)


def test_the_customer_reads_every_reading_as_typed_with_its_band(full: list[str]) -> None:
    first = plain(full[0])
    for typed in ("98 psi", "23 psi", "31 psi", "145 psi", "235 psi", "59 °F", "46 °F"):
        assert typed in first
    for run in before_and_after():
        for e in run.judgement.expected:
            if e.measured is not None and e.phase == "running":
                shown = row(e, run.terms, run.judgement.ambient_pressure)
                word = place_word(placed(shown.low, shown.median, shown.high, shown.measured).word)
                assert f"{word} {shown.band} {shown.unit}" in first


def test_the_customer_reads_what_was_done_and_where_the_refrigerant_went(full: list[str]) -> None:
    first = plain(full[0])
    assert "Identify the refrigerant: R-134a, 99.8 %" in first
    assert "One step was not done as written" in first
    assert "Taken out: 352 g ± 3 g. Put in: 798 g ± 4 g." in first
    assert "Kim Alvarez, certificate 4471" in first


def test_the_inspector_reads_each_reading_as_written_and_as_understood(full: list[str]) -> None:
    rest = plain(" ".join(full[1:]))
    for run in before_and_after():
        for reading in run.test.readings:
            assert reading.written in rest
    # 23 psi at 250 m: 158.58 kPa above 98.36 kPa (standard atmosphere), so 256.9 kPa absolute
    assert "256.9 ± 11 kPa absolute" in rest
    assert "Dial gauge, low side, class 1.6 (assumed); within 18 kPa" in rest


def test_the_inspector_reads_conditions_causes_states_and_engine(full: list[str]) -> None:
    rest = squeezed(" ".join(full[1:]))
    for part in (
        "31.0 °C",
        "1800 rpm",
        "recirculated air",
        "short of refrigerant",
        "Superheat at the evaporator",
        "Checks not made",
        "Loopwright " + before_and_after()[0].judgement.engine,
        "Seed",
        "No hose recovery on this machine.",
        "Vehicle to cylinder 7",
        "40.2 g",
        "Unexplained: 2 g ± 5 g",
        "Warm air since August.",
        "1FTEX1E80KKD00001",
    ):
        assert squeezed(part) in rest, part


def test_every_source_of_the_judgement_is_named(full: list[str]) -> None:
    rest = squeezed(" ".join(full[1:]))
    for run in before_and_after():
        for key in run.judgement.sources:
            assert squeezed(sources()[key].citation) in rest


def test_every_caution_is_named_once(full: list[str]) -> None:
    rest = squeezed(" ".join(full[1:]))
    assert before_and_after()[0].judgement.cautions
    for caution in before_and_after()[0].judgement.cautions:
        assert rest.count(squeezed(caution)) == 1


def test_job_and_page_stand_on_every_page(full: list[str]) -> None:
    for number, text in enumerate(full, start=1):
        assert "Job 1042-B" in plain(text)
        assert f"Page {number} of {len(full)}" in plain(text)


def test_a_test_alone_has_no_service_and_names_the_causes_by_count() -> None:
    van = replace(judged("van_short_of_refrigerant"), when=None)
    first, *rest = (plain(p) for p in pages(pdf(Report(made=MADE, runs=(van,)))))
    assert "Air-conditioning test report" in first
    assert "Of 100 vehicles that read so" in squeezed_words(first)
    cause = van.judgement.causes[0]
    assert cause.severity is not None
    count = re.search(rf"(\d+) short of refrigerant {re.escape(severity_text(cause.severity))}", first)
    assert count, first
    assert abs(int(count[1]) - 100 * cause.probability) < 1  # counts are shared out so that they add up
    assert van.judgement.next_checks[0].check in first
    for absent in ("Before the service", "What was done", "Technician", "The service", "Refrigerant accounted for"):
        assert absent not in " ".join([first, *rest])


def squeezed_words(text: str) -> str:
    return text.replace("vehicles that\nread", "vehicles that read")


def test_a_vehicle_that_performs_gets_no_list_of_causes() -> None:
    first = plain(pages(pdf(Report(made=MADE, runs=(judged("sedan_that_performs"),))))[0])
    assert "Performs for" in first
    assert "Of 100 vehicles" not in first
    assert "What should come next" not in first


def test_cannot_say_names_what_would_help_and_draws_nothing() -> None:
    unsure = judged("sedan_that_performs")
    unsure = replace(unsure, judgement=replace(unsure.judgement, verdict="cannot_say", reasons=("Nothing fits.",)))
    said = pdf(Report(made=MADE, runs=(unsure,)))
    first = plain(pages(said)[0])
    assert "Cannot say what these readings mean. Nothing fits." in first
    assert "What would help" in first
    assert all(check.check in first for check in unsure.judgement.next_checks[:3])
    assert "what it should show today" not in first


def test_a_report_without_any_part_is_one_page_without_holes() -> None:
    (only,) = pages(pdf(Report(made=datetime(2026, 11, 25))))
    assert plain(only) == "Air-conditioning service report Date Nov 25, 2026 Page 1 of 1"


def many() -> dict[str, Any]:
    """More than any job holds."""
    words = "Renewed the seals of the condenser outlet, the drier and the expansion device, and looked again. "
    moved = tuple(Movement(f"Cylinder {i} to vehicle", 0.01, 0.001, "in", MADE) for i in range(80))
    return {
        "steps": tuple(Step(f"{i}. {words}", words * 3, "Kim Alvarez", MADE) for i in range(60)),
        "refrigerant": Refrigerant(moved, words * 12),
        "notes": (words * 30,) * 5,
        "customer": words * 4,
        "vehicle": words * 4,
        "plate": words,
        "odometer": words,
        "vin": words,
    }


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("more", [{}, many()], ids=["usual", "too much"])
def test_the_customer_has_exactly_one_page(paper: Any, more: dict[str, Any]) -> None:
    found = [plain(p) for p in pages(pdf(whole(paper=paper, **more)))]
    assert "Performs for" in found[0]
    assert "Page 1 of" in found[0]
    assert "98 psi" in found[0]
    assert found[1].startswith("Appendix")
    assert [i for i, p in enumerate(found) if "Appendix The vehicle" in p] == [1]


def test_ten_readings_fit_and_the_most_telling_stay() -> None:
    """All places read on one vehicle, with a service and everything else beside it."""
    written = sheet("sedan_that_performs")
    places = ("compressor_suction", "compressor_discharge", "condenser_outlet", "evaporator_inlet", "evaporator_outlet")
    warm = {"compressor_discharge": "130 °F", "condenser_outlet": "92 °F"}  # about what a sound one shows
    for place in places:
        value = warm.get(place, "35 °F")
        written["readings"].append({"phase": "running", "point": place, "quantity": "temperature", "value": value})
    import loopwright
    from loopwright.readings import read

    run = Run(read(written), loopwright.judge(written))
    first = plain(pages(pdf(whole(runs=(run,))))[0])
    for reading in run.test.readings:
        assert reading.written in first
    assert "Kim Alvarez" in first


@pytest.mark.parametrize(("paper", "size"), [("a4", (595.3, 841.9)), ("letter", (612.0, 792.0))])
def test_the_paper_is_the_one_asked_for(paper: Any, size: tuple[float, float]) -> None:
    """ISO 216 and ANSI/ASME Y14.1 sizes in points, from memory; half a point is the print's own rounding."""
    for page in read_back(pdf(Report(made=MADE, job="1", notes=("a",), paper=paper))).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(size, abs=0.5)


def test_another_paper_is_refused() -> None:
    with pytest.raises(ValueError, match="a4 or letter"):
        pdf(Report(made=MADE, paper="a5"))  # type: ignore[arg-type]
