"""The file itself: what a person typed cannot run, the bytes are the same each time, it is fit for keeping."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import typst
from PIL import Image
from vans import MADE, mended, pages, plain, read_back, sheet, squeezed, whole

from loopwright.api.report import report_pdf
from loopwright.cli.report import write_report
from loopwright.report import Deviation, Person, Photo, Report, Shop, Step, pdf
from loopwright.report.typeset import content

HOSTILE = [
    '#panic("run")',
    "#{while true {}}",
    '#read("said.json")',
    "$ x^2 $ *bold* _it_ `raw` = head",
    "\\ <label> @reference // comment /* more */",
    "<script>alert(1)</script>",
    "\"quotes\" 'single' -> => -- 3x4 ~",
    "]]) #pagebreak() [[(",
    "{job} {n} {all} %s {0}",
]


@pytest.mark.parametrize("text", HOSTILE)
def test_markup_stands_literally_in_every_field(text: str) -> None:
    report = Report(
        made=MADE,
        shop=Shop(text, text, text),
        technician=Person(text, text),
        job=text,
        customer=text,
        vehicle=text,
        plate=text,
        vin=text,
        odometer=text,
        steps=(Step(text, text, text),),
        deviations=(Deviation(text, text, text),),
        notes=(text,),
        photos=(Photo(b"", text),),
        cautions=(text,),
        sources=(text,),
    )
    found = [squeezed(page) for page in pages(pdf(report))]
    # The customer's page: shop's 3, job, customer, vehicle, plate, VIN, odometer, step and result, technician's 2.
    assert found[0].count(squeezed(text)) >= 11
    # The appendix: 5 of the vehicle, 3 each of step and deviation, note, caption, caution, source.
    assert sum(page.count(squeezed(text)) for page in found[1:]) >= 15


def test_hostile_sheets_stand_literally_too() -> None:
    written = sheet("sedan_that_performs")
    written["id"] = written["vehicle"]["label"] = "#panic() $x$ *b* \\"
    written["readings"][0]["instrument"] = '#eval("1") dial'
    found = squeezed(" ".join(pages(report_pdf(written, made=MADE))))
    assert found.count(squeezed(written["id"])) >= 3
    assert squeezed(written["readings"][0]["instrument"]) in found


def test_a_word_longer_than_the_page_breaks_and_nothing_is_lost() -> None:
    word = "".join(chr(97 + i % 26) for i in range(900))
    found = pages(pdf(Report(made=MADE, notes=(word,), steps=(Step(word),))))
    assert squeezed(" ".join(found[1:])).count(word) == 2
    for page in read_back(pdf(Report(made=MADE, notes=(word,)))).pages:
        right: list[float] = []
        page.extract_text(
            visitor_text=lambda text, cm, tm, font, size, seen=right: seen.append(tm[4]) if text else None
        )
        assert max(right) < float(page.mediabox.width) - 40


def test_letters_of_other_scripts_are_shown_and_what_cannot_be_is_named() -> None:
    found = squeezed(
        " ".join(pages(pdf(Report(made=MADE, notes=("Žižek Ωμέγα Иван", "שלום", "\U000e0fff", "a\u202eb\x00c")))))
    )
    assert "ŽižekΩμέγαИван" in found
    assert "שלום" in found or "םולש" in found  # the extraction may follow the page from left to right
    assert "[U+E0FFF]" in found
    assert "a[U+202E]b[U+0000]c" in found


def test_lone_surrogates_do_not_stop_the_report() -> None:
    assert "a[U+D800]b" in squeezed(" ".join(pages(pdf(Report(made=MADE, notes=("a\ud800b",))))))


def test_the_same_report_gives_the_same_bytes() -> None:
    assert pdf(whole()) == pdf(whole())


def test_the_same_report_gives_the_same_bytes_in_another_process() -> None:
    script = (
        "import hashlib; from datetime import datetime; from loopwright.report import *;"
        "r = Report(made=datetime(2026, 11, 25), job='7', notes=('a',), steps=(Step('b', 'c'),));"
        "print(hashlib.sha256(pdf(r)).hexdigest())"
    )
    run = [subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True) for _ in range(2)]
    assert run[0].stdout == run[1].stdout


def test_it_is_fit_for_keeping_and_for_screen_readers() -> None:
    """PDF/A-2a and PDF/UA-1 as the file claims them, tagged, in a language, titled, every font inside."""
    reader = read_back(pdf(whole()))
    root = reader.trailer["/Root"]
    claims = root["/Metadata"].get_data().decode()
    assert "<pdfaid:part>2</pdfaid:part>" in claims
    assert "<pdfuaid:part>1</pdfuaid:part>" in claims
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert reader.metadata is not None
    assert reader.metadata.title == "Air-conditioning test and service report"
    fonts = {
        str(font["/BaseFont"]) for page in reader.pages for font in map(_resolved, page["/Resources"]["/Font"].values())
    }
    assert {name.split("+")[1] for name in fonts} == {"Inter-Regular", "Inter-SemiBold"}
    for page in reader.pages:
        for font in map(_resolved, page["/Resources"]["/Font"].values()):
            inside = font["/DescendantFonts"][0].get_object()["/FontDescriptor"]
            assert any(key.startswith("/FontFile") for key in inside)


def _resolved(font: object) -> dict:  # type: ignore[type-arg]
    return font.get_object()  # type: ignore[attr-defined, no-any-return]


def test_figures_are_equally_wide_where_they_stand_in_columns() -> None:
    from loopwright.report.typeset import _fonts

    source = b"""#set text(font: "Inter", number-width: "tabular")
#context [#metadata(range(10).map(d => measure(str(d)).width.pt())) <widths>]"""
    found = json.loads(typst.query(source, "<widths>", field="value", one=True, font_paths=_fonts()))
    assert len(found) == 10
    assert len(set(found)) == 1


def test_photographs_are_inside_and_a_broken_one_is_said_to_be() -> None:
    kept = []
    for form in ("JPEG", "PNG"):
        made = io.BytesIO()
        Image.new("RGB", (640, 480), "teal").save(made, form)
        kept.append(Photo(made.getvalue(), f"a {form} of the condenser"))
    drawing = b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><image href="said.json"/></svg>'
    report = Report(made=MADE, photos=(*kept, Photo(b"\xff\xd8\xff broken", "the third"), Photo(drawing, "the fourth")))
    reader = read_back(pdf(report))
    text = plain(" ".join(page.extract_text() for page in reader.pages))
    assert all(photo.caption in text for photo in report.photos)
    assert text.count("This photograph cannot be read.") == 2
    assert [(i.image.size if i.image else None) for page in reader.pages for i in page.images] == [(640, 480)] * 2


def test_fixed_words_come_from_python_and_not_from_the_template() -> None:
    """A template that added a word would say it in one language only."""
    from importlib.resources import files

    said = json.dumps(content(whole()), ensure_ascii=False)
    for path in (files("loopwright.report") / "template").iterdir():
        for line in path.read_text(encoding="utf-8").splitlines():
            code = line.split("//")[0]
            for part in code.split("[")[1:]:  # content blocks; indices and code hold no blanks between letters
                assert not any(word.isalpha() and len(word) > 1 for word in part.split("]")[0].split()), line
    assert "What was done" in said


def test_the_report_speaks_the_language_asked_for() -> None:
    written = sheet("sedan_that_performs")
    root = read_back(report_pdf(written, made=MADE, language="es")).trailer["/Root"]
    assert root["/Lang"] == "es"


def test_the_command_writes_the_file(tmp_path: Path) -> None:
    before, after = tmp_path / "before.json", tmp_path / "after.json"
    before.write_text(json.dumps(sheet("van_short_of_refrigerant")), encoding="utf-8")
    after.write_text(json.dumps(mended()), encoding="utf-8")
    assert write_report(before, after, tmp_path / "r.pdf", paper="letter", about={"job": "88", "shop": "Bay"}) == 0
    first = plain(pages((tmp_path / "r.pdf").read_bytes())[0])
    assert "Job 88" in first
    assert "After the service" in first


def test_the_command_refuses_and_says_why(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    good = tmp_path / "good.toml"
    good.write_text('[vehicle]\nrefrigerant = "R134a"\n[weather]\nair_temperature_c = 30\n', encoding="utf-8")
    assert tomllib.loads(good.read_text())["vehicle"]
    bad, batch = tmp_path / "bad.toml", tmp_path / "two.jsonl"
    bad.write_text("[vehicle]\n", encoding="utf-8")
    batch.write_text("{}\n{}\n", encoding="utf-8")
    cases: tuple[tuple[tuple[Path, Path | None, Path], str], ...] = (
        ((bad, None, tmp_path / "r.pdf"), "weather"),
        ((batch, None, tmp_path / "r.pdf"), "2 sheets"),
        ((good, tmp_path / "none.toml", tmp_path / "r.pdf"), "none.toml"),
        ((good, None, tmp_path / "no" / "r.pdf"), "No such folder"),
        ((good, None, tmp_path), "a file that can be written"),
    )
    for arguments, says in cases:
        assert write_report(*arguments) == 2
        assert says in capsys.readouterr().err
    assert write_report(good, None, tmp_path / "r.pdf", paper="a5") == 2
    assert "a4 or letter" in capsys.readouterr().err
