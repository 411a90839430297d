"""What a person who speaks Spanish reads: judgement, text, pictures, problems, sheets; and that English stays."""

import contextlib
import io
import re
import runpy
import threading
from importlib.resources import files
from pathlib import Path

import pytest
from english import english_in, texts

import loopwright
from loopwright.api.service import calculate
from loopwright.api.service_text import sheet_text
from loopwright.api.wire import error_to_wire, to_wire
from loopwright.cli.judging import judge_sheets
from loopwright.cli.problems import problems_text
from loopwright.cli.service_text import state_text
from loopwright.diagnosis.checks import checks
from loopwright.diagnosis.judgement import Judgement
from loopwright.errors import InputError
from loopwright.figures import Terms, judgement_text
from loopwright.figures.plane import plane_figure
from loopwright.figures.strips import strips_figure
from loopwright.figures.words import check_card, headline
from loopwright.language import decimal, decimal_mark, nearest, say, speaking, spoken
from loopwright.quantities import number, parse
from loopwright.readings import Test, read_text, table
from loopwright.service.procedure import Job, Opened, Started, add, derive

DEMOS = ["van_short_of_refrigerant", "tractor_cold_spot", "electric_car_warm_air"]
IDS = re.compile(  # parts of the published form that are ids, names, units or numbers, the same in every language
    r"^(id|engine|verdict|refrigerant|sources\[\]|causes\[\]\.(fault|also|alike\[\]|severity\..*|(for|against)\[\]\.(point|phase))"
    r"|expected\[\]\.(phase|point|quantity|unit|reference|statistic)|next_checks\[\]\.(point|splits\[\])"
    r"|(healthy_)?cycle\[\]\.name)$"
)


def demo(name: str) -> Test:
    raw = files("loopwright.cli").joinpath("vehicles", f"{name}.toml").read_bytes()
    (test,) = read_text(raw, "toml")
    assert isinstance(test, Test)
    return test


@pytest.fixture(scope="module", params=DEMOS)
def judged(request: pytest.FixtureRequest) -> tuple[Test, Judgement, Test, Judgement]:
    """One sheet read and judged in English and in Spanish."""
    from loopwright.diagnosis import judge

    english = demo(request.param)
    first = judge(english)
    with speaking("es"):
        spanish = demo(request.param)
        second = judge(spanish)
    return english, first, spanish, second


def test_a_judgement_holds_no_english(judged: tuple[Test, Judgement, Test, Judgement]) -> None:
    _, english, _, spanish = judged
    before = {text for path, text in texts(to_wire(english)) if not IDS.match(path)}
    for path, text in texts(to_wire(spanish)):
        if IDS.match(path) or not text:
            continue
        assert english_in(text) == [], path
        assert text not in before, path
    ids = [[(p, t) for p, t in texts(to_wire(j)) if IDS.match(p)] for j in (english, spanish)]
    assert ids[0] == ids[1]  # the same judgement, word for word where words are ids


def test_the_text_holds_no_english(judged: tuple[Test, Judgement, Test, Judgement]) -> None:
    english, first, spanish, second = judged
    before = judgement_text(first, Terms.of(english)).splitlines()
    with speaking("es"):
        after = judgement_text(second, Terms.of(spanish)).splitlines()
    label = after[0]
    assert [line for line in after if line != label and english_in(line)] == []
    alike = {line.strip() for line in after} & {line.strip() for line in before} - {"", label}
    assert alike == set()
    assert all(len(line) <= 80 for line in after)


def test_pictures_hold_no_english(judged: tuple[Test, Judgement, Test, Judgement]) -> None:
    _, _, spanish, second = judged
    with speaking("es"):
        terms = Terms.of(spanish)
        specs = [plane_figure(second, terms), strips_figure(second, terms)]
        said = headline(second, terms)
    shown = [t for spec in specs for p, t in texts(spec) if p.endswith((".says", "title.text[]", "description"))]
    assert said in shown
    assert [text for text in shown if english_in(text)] == []


def test_a_spanish_judgement_finds_its_check_cards() -> None:
    card = checks()["read_vent"]
    with speaking("es"):
        name = say(card.name)
    assert name != card.name
    assert check_card(name) is check_card(card.name) is card


def test_english_stays_what_it_was() -> None:
    """Outside `speaking` nothing has changed, also after somebody spoke Spanish."""
    with speaking("es"):
        pass
    assert spoken() == "en"
    assert say("Read after {minutes:.0f} min of running.", minutes=8.0) == "Read after 8 min of running."
    assert decimal(1180.25, 1) == "1180.2"


def test_each_thread_speaks_its_own_language() -> None:
    heard: list[str] = []

    def listen() -> None:
        heard.append(say("Performs"))

    with speaking("es"):
        thread = threading.Thread(target=listen)
        thread.start()
        thread.join()
        heard.append(say("Performs"))
    assert heard == ["Performs", "Rinde bien"]


def test_command_line(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    sheet = tmp_path / "hoja.json"
    sheet.write_text('{"vehicle": {"refrigerant": "R22"}, "weather": {"air_temperature_c": "30,5"}, "colour": 1}')
    with speaking("es"):
        assert judge_sheets([str(sheet)], out=io.StringIO()) == 2
    said = capsys.readouterr().err
    assert "no se puede juzgar: 2 problemas." in said
    assert "línea 1, vehicle.refrigerant: No es un refrigerante que se pueda juzgar." in said
    assert [line for line in said.splitlines() if english_in(line.replace(str(sheet), ""))] == []


SHEETS = [
    {"schema": 2, "vehicle": {}, "weather": {"air_temperature_c": "hot", "altitude_m": "1,500"}},
    {"vehicle": {"refrigerant": "R134a", "label": 3, "compressor": "fixd"}, "weather": {"air_temperature_c": 500}},
    {
        "vehicle": {"refrigerant": "R134a"},
        "weather": {"air_temperature_c": 30, "relative_humidity_pct": 0.4},
        "readings": [
            {"phase": "running", "point": "low_side", "quantity": "pressure", "value": "80 bar"},
            {"phase": "running", "point": "high_side", "quantity": "pressure", "value": "-5 bar"},
            {"phase": "running", "point": "vent_center", "quantity": "temperature", "value": "-30 °C"},
            {"phase": "running", "point": "vent_center", "quantity": "pressure", "value": "30"},
            {"phase": "running", "point": "high_side", "quantity": "pressure", "value": "30"},
            {"phase": "running", "point": "high_side", "quantity": "pressure", "value": "30 pis"},
            {"phase": "running", "point": "high_side", "quantity": "pressure", "unit": "bar", "value": "30 psi"},
        ],
    },
]


@pytest.mark.parametrize("sheet", SHEETS)
def test_problems_hold_no_english(sheet: dict[str, object]) -> None:
    with speaking("es"), pytest.raises(InputError) as caught:
        loopwright.judge(sheet)
    with speaking("es"):
        said = problems_text("hoja", caught.value.problems)
        document = error_to_wire(caught.value.problems)
    for path, text in texts(document):
        if path not in ("type", "errors[].field", "errors[].found"):
            words = set(english_in(text)) - set(
                table().quantities
            )  # what a sheet may hold is spelt as the contract does
            assert words == set(), (path, text)
    assert "no se puede juzgar" in said


def test_warnings_hold_no_english() -> None:
    sheet = {
        "vehicle": {"refrigerant": "R134a"},
        "weather": {"air_temperature_c": 30},
        "readings": [
            {"phase": "running", "point": "low_side", "quantity": "pressure", "value": "3,2 bar"},
            {"phase": "running", "point": "high_side", "quantity": "pressure", "value": "1,4 bar"},
            {"phase": "standing", "point": "ambient_air", "quantity": "temperature", "value": "52 °C"},
        ],
    }
    from loopwright.readings import read

    with speaking("es"):
        warnings = read(sheet).warnings
    assert len(warnings) >= 2
    assert [w for w in warnings if english_in(w)] == []


EXAMPLES = runpy.run_path(str(Path(__file__).parents[1] / "service" / "test_faces.py"))["EXAMPLES"]


@pytest.mark.parametrize("name", EXAMPLES)
def test_service_sheets_hold_no_english(name: str) -> None:
    with speaking("es"):
        sheet = calculate(name, EXAMPLES[name])
        said = sheet_text(sheet)
    body = said.split("FUENTES")[0]  # citations keep the language of the works
    assert english_in(body) == []
    assert sheet.title != calculate(name, EXAMPLES[name]).title


def test_service_numbers_are_written_as_the_language_does() -> None:
    with speaking("es"):
        said = sheet_text(calculate("hose", EXAMPLES["hose"]))
    assert re.search(r"39,3 ± \d,\d g", said)
    with speaking("es-MX"):
        assert re.search(r"39\.3 ± \d\.\d g", sheet_text(calculate("hose", EXAMPLES["hose"])))


def test_procedure_holds_no_english() -> None:
    events = add((), Opened(0.0, "Ana", Job("R134a", "R134a", "fixed", 0.5, "furgoneta")))
    with speaking("es"):
        before = state_text(derive(events), 10.0)
        with contextlib.suppress(InputError):
            add(events, Started(5.0, "Ana", "charge"))
        with pytest.raises(InputError) as caught:
            add(events, Started(5.0, "Ana", "charge"))
        started = state_text(derive(add(events, Started(5.0, "Ana", "identify"))), 10.0)
    for line in [*before.splitlines(), *started.splitlines(), *(p.says for p in caught.value.problems)]:
        assert english_in(line) == [], line


def test_numbers_as_people_write_them() -> None:
    """A decimal comma is read whatever is spoken; what could be thousands or decimals is asked about, not guessed."""
    assert number("30,5") == 30.5
    assert number("1.234,5") == number("1,234.5") == 1234.5
    assert parse("30,5 psi", "pressure").value == parse("30.5 psi", "pressure").value
    with speaking("es"), pytest.raises(InputError, match=r"La coma puede ser decimal o de miles\."):
        number("1,234")


@pytest.mark.parametrize(
    ("wanted", "code", "mark"),
    [("es", "es", ","), ("es-MX", "es-MX", "."), ("es_US", "es-US", "."), ("fr", "en", "."), ("en-GB", "en-GB", ".")],
)
def test_codes(wanted: str, code: str, mark: str) -> None:
    assert nearest(wanted) == code
    with speaking(wanted):
        assert (spoken(), decimal_mark()) == (code, mark)


def test_the_room_costs_nothing_to_import() -> None:
    """No catalogue, no Babel, until something is said in another language."""
    import subprocess
    import sys

    script = (
        "import sys; import loopwright.language as l; print([m for m in ('babel', 'gettext', 'numpy', 'jinja2') "
        "if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
