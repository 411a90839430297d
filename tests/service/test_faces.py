"""Every calculation as a command and a function; sheets of 80 columns with caution, uncertainty and sources."""

import contextlib
import datetime
import json
import math
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from loopwright.api.service import (
    append_job,
    by_field,
    calculate,
    calculators,
    form_to_wire,
    new_job,
    note,
    read_job,
    record_fields,
    sheet_to_wire,
)
from loopwright.api.service_text import sheet_text
from loopwright.api.service_words import amount
from loopwright.cli.main import app
from loopwright.errors import InputError
from loopwright.service.procedure import Job, Noted, Opened, Started, steps
from loopwright.service.sheets import CALCULATORS
from loopwright.service.uncertain import Uncertain

RISE = [(30.0 * i, 200.0 + 0.5 * 30.0 * i) for i in range(41)]
EXAMPLES = {
    "foreign-gas": {
        "refrigerant": "R134a", "kind": "cylinder", "pressure": "85 psi", "temperature": "24 ± 0.5 °C", "soak": "14 h",
        "liquid": "yes", "altitude": "1500 m",
    },
    "cylinder": {
        "refrigerant": "R134a", "kind": "refillable", "tare": "28 lb", "weight": "20 kg", "water_capacity": "47.7 lb",
        "requalified": "2024-03-01", "today": "2026-01-01",
    },
    "recovery": {"recovered": "310 g", "expected": "500 g", "time_since_fill": "2 yr"},
    "oil": {"recovered": "15 mL", "replaced": "condenser, drier", "compressor": "fixed", "oil": "PAG 46",
            "maker_oil": "PAG 46"},
    "evacuation": {"coldest": "12 °C", "altitude": "250 m", "reached": "500 micron"},
    "rise": {"readings": RISE, "coldest": "20 °C", "noise": "2 Pa", "resolution": "1 Pa"},
    "hold": {"start": "1000 kPa", "end": "996.5 kPa", "start_temperature": "22 °C", "end_temperature": "21 °C",
             "time": "12 h"},
    "leak-rate": {"rate": "40 g/yr", "gas": "R134a"},
    "hose": {"refrigerant": "R-134a", "bore": "4.8 ± 0.1 mm", "length": "1.8 m", "temperature": "25 °C"},
    "charge": {"label": "500 g", "hoses_at_end": "39 ± 2 g", "inferred": "480 ± 60 g"},
    "disconnect": {"refrigerant": "R134a", "bore": "4.8 mm", "length": "1.8 m", "temperature": "25 °C",
                   "closed_first": True},
    "co2e": {"refrigerant": "R134a", "mass": "550 g", "report": "AR4"},
}  # fmt: skip


def test_every_calculation_has_an_example():
    assert list(EXAMPLES) == list(CALCULATORS)


@pytest.mark.parametrize("name", EXAMPLES)
def test_sheet(name):
    """80 columns, title first, caution before the inputs, each source with how it was obtained."""
    sheet = calculate(name, EXAMPLES[name])
    text = sheet_text(sheet)
    lines = text.splitlines()
    assert max(map(len, lines)) <= 80
    assert lines[0].startswith(sheet.title.upper())
    assert "SOURCES" in text
    assert all(obtained in ("page", "repository", "memory", "computed", "practice") for _, obtained in sheet.sources)
    assert ("FROM MEMORY" in " ".join(text.split())) == any(obtained == "memory" for _, obtained in sheet.sources)
    for caution in sheet.cautions:
        assert text.index("! " + caution[:20]) < text.index("FROM  ")
    assert json.loads(json.dumps(sheet_to_wire(sheet)))["verdict"] == sheet.verdict


@pytest.mark.parametrize("name", EXAMPLES)
def test_command(name, tmp_path):
    arguments = ["service", name]
    given = dict(EXAMPLES[name])
    if "readings" in given:
        file = tmp_path / "rise.csv"
        file.write_text("s,Pa\n" + "\n".join(f"{t},{p}" for t, p in RISE), encoding="utf-8")
        given["readings"] = str(file)
    for field, value in given.items():
        arguments += [f"--{field.replace('_', '-')}"] if value is True else [f"--{field.replace('_', '-')}", value]
    ran = CliRunner().invoke(app, arguments)
    assert ran.exit_code == 0, ran.output
    assert ran.output.startswith(CALCULATORS[name].title.upper())
    machine = CliRunner().invoke(app, [*arguments, "--json"])
    assert json.loads(machine.output)["calculation"] == name


@pytest.mark.parametrize("name", CALCULATORS)
def test_help(name):
    ran = CliRunner().invoke(app, ["service", name, "--help"])
    assert ran.exit_code == 0
    for field in CALCULATORS[name].fields:
        assert f"--{field.name.replace('_', '-')}" in ran.output


def test_problems_come_together_with_exit_code_two():
    ran = CliRunner().invoke(app, ["service", "hose", "--bore", "wide", "--length", "1.8 kg"])
    assert ran.exit_code == 2
    text = ran.stderr
    for field in ("refrigerant", "bore", "length", "temperature"):
        assert field in text


def test_every_field_missing_is_named():
    with pytest.raises(InputError) as caught:
        calculate("foreign-gas", {"colour": "blue"})
    assert {p.field for p in caught.value.problems} == {
        "colour", "refrigerant", "kind", "pressure", "temperature", "soak",
    }  # fmt: skip


def test_gauge_reading_without_air_pressure_is_no_foreign_gas_test():
    given = {k: v for k, v in EXAMPLES["foreign-gas"].items() if k != "altitude"}
    with pytest.raises(InputError, match="1500 m shift this test by 17 kPa"):
        calculate("foreign-gas", given)
    assert calculate("foreign-gas", given | {"pressure": "700 kPa abs"}).verdict == "fail"


def test_altitude_and_barometer_say_the_same():
    """1500 m of standard atmosphere are 845.6 hPa."""
    by_altitude = calculate("foreign-gas", EXAMPLES["foreign-gas"]).lines[0].value
    given = {k: v for k, v in EXAMPLES["foreign-gas"].items() if k != "altitude"}
    by_barometer = calculate("foreign-gas", given | {"barometer": "845.6 hPa"}).lines[0].value
    assert by_altitude.value == pytest.approx(by_barometer.value, abs=30.0)
    assert by_altitude.sigma > by_barometer.sigma


def test_written_limits_count():
    def sigma(bore):
        return calculate("hose", EXAMPLES["hose"] | {"bore": bore}).lines[0].value.sigma

    assert sigma("4.8 ± 0.4 mm") > sigma("4.8 mm ± 0.1 mm") == pytest.approx(sigma("4.8 mm"))
    assert sigma("4.8 mm ± 5 %") == pytest.approx(sigma("4.8 +/- 0.24 mm"), rel=1e-6)


def test_memory_is_shown_as_such():
    text = " ".join(sheet_text(calculate("foreign-gas", EXAMPLES["foreign-gas"])).split())
    assert "28 to 34 kPa above saturation of R-134a. [FROM MEMORY, not read]" in text
    published = " ".join(sheet_text(calculate("foreign-gas", EXAMPLES["foreign-gas"] | {"refrigerant": "R12"})).split())
    assert "28 to 34 kPa" not in published


def test_report_is_named_beside_the_equivalent():
    assert "AR4" in sheet_text(calculate("co2e", EXAMPLES["co2e"]))


def test_blind_spot_is_said_on_every_rise_sheet():
    text = " ".join(sheet_text(calculate("rise", EXAMPLES["rise"])).split())
    assert "cannot see a leak of 40 g/yr: here that is 0.19 Pa in 20 min" in text


def test_readings_in_minutes_and_micron(tmp_path):
    file = tmp_path / "rise.csv"
    file.write_text("min;micron\n" + "\n".join(f"{t / 60};{p / 0.133322:.3f}" for t, p in RISE), encoding="utf-8")
    a = calculate("rise", EXAMPLES["rise"] | {"readings": file})
    assert a.verdict == calculate("rise", EXAMPLES["rise"]).verdict == "leak"
    file.write_text("s,Pa\n1,2\nx,y\n", encoding="utf-8")
    with pytest.raises(InputError, match="line 3"):
        calculate("rise", EXAMPLES["rise"] | {"readings": file})


def test_overfilled_rating_is_refused():
    with pytest.raises(InputError, match="let it down now"):
        calculate("hold", EXAMPLES["hold"] | {"rating": "700 kPa"})


def test_heel_of_a_disposable():
    """2 % of 0.977 kg/L in 13.6 L is 0.27 kg (J2788 7.3.5)."""
    given = EXAMPLES["cylinder"] | {"kind": "disposable", "tare": "3 kg", "weight": "4 kg", "water_capacity": "13.6 kg"}
    sheet = calculate("cylinder", given)
    assert sheet.verdict == "refused"
    heel = next(line for line in sheet.lines if line.label.startswith("Heel"))
    assert heel.value.value == pytest.approx(0.27, abs=0.005)


def test_today_is_an_argument():
    given = {k: v for k, v in EXAMPLES["cylinder"].items() if k != "today"}
    assert calculate("cylinder", given, datetime.date(2030, 1, 1)).verdict == "refused"
    assert calculate("cylinder", given, datetime.date(2026, 1, 1)).verdict == "room"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Uncertain(0.1234, 0.002), "123.4 ± 4.0 g"),
        (Uncertain(1.234, 0.02), "1234 ± 40 g"),
        (Uncertain(12.34, 0.26), "12340 ± 520 g"),
        (Uncertain(0.55), "550 g"),
    ],
)
def test_two_figures_of_uncertainty(value, text):
    assert amount(value, "mass", "g") == text


def test_job_on_the_command_line(tmp_path):
    file = str(tmp_path / "job.jsonl")

    def run(*arguments):
        return CliRunner().invoke(app, ["service", "job", file, *arguments])

    assert run("--open", "R134a,R134a,fixed,500 g", "--by", "Kim").exit_code == 0
    early = run("recover", "--start")
    assert early.exit_code == 2
    assert early.stderr.startswith("Not written down")
    shown = run("identify", "--start", "--note", "refrigerant_found=R134a", "--note", "purity=99 %", "--finish")
    assert shown.exit_code == 0, shown.output
    assert "√ Identify the refrigerant: refrigerant found R134a, purity 99 %" in shown.output
    assert "Timer: 5.0 min left." in run("recover", "--start").output
    assert run("recover", "--deviate", "no").exit_code == 2
    said = "Machine stopped, power cut; cylinder full, continued tomorrow."
    assert run("recover", "--deviate", said, "--accept", "vent").exit_code == 0
    assert "DEVIATIONS" in run().output
    assert max(map(len, run().output.splitlines())) <= 80


def test_job_resumes_from_its_file(tmp_path):
    path = tmp_path / "job.jsonl"
    append_job(path, Opened(0.0, "Kim", Job("R134a", "R134a", "fixed", 0.5)))
    append_job(path, Started(1.0, "Kim", "identify"))
    events = append_job(path, Noted(2.0, "Kim", "identify", "purity", 0.99))
    assert read_job(path) == events
    path.write_text(path.read_text(encoding="utf-8") + "not json\n", encoding="utf-8")
    with pytest.raises(InputError, match="line 4"):
        read_job(path)


def test_import_is_light():
    """The room and its forms load no property library, compiler or array package."""
    code = (
        "import sys, loopwright.service.sheets, loopwright.service.procedure;"
        "print([m for m in ('numpy', 'numba', 'scipy', 'CoolProp', 'pint', 'sqlalchemy') if m in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"


def judgement(low, median, high):
    return {"schema": 1, "states": {"charge_g": {"low": low, "median": median, "high": high, "level": 0.9}}}


def test_charge_of_a_judgement_beside_the_label(tmp_path):
    """As a mapping, as JSON text, as a file; the interval's side toward the label decides.

    Worked: 353 g (248 to 788): upward (788 - 353) / 1.645 = 264 g of sigma, so 800 g lie within two of them; downward
    64 g, so 200 g do not.
    """
    found = judgement(248, 353, 788)
    file = tmp_path / "judgement.json"
    file.write_text(json.dumps(found), encoding="utf-8")
    sheets = [calculate("charge", {"label": "800 g", "judgement": j}) for j in (found, json.dumps(found), file)]
    for sheet in sheets:
        assert ("Charge that the test tells", "353 g (248 to 788), 90 of 100") in sheet.rows()
        assert any("agrees with that charge; that is no proof" in says for says in sheet.says)
    assert any("another charge" in says for says in calculate("charge", {"label": "200 g", "judgement": found}).says)
    command = ["service", "charge", "--label", "800 g", "--judgement", str(file)]
    assert "353 g (248 to 788)" in CliRunner().invoke(app, command).output


@pytest.mark.parametrize(
    "wrong", ["", "no JSON", "[]", '{"states": {}}', json.dumps(judgement(5, 4, 3)), json.dumps(judgement(1, 2, 1e999))]
)
def test_no_charge_in_a_judgement(wrong, tmp_path):
    file = tmp_path / "judgement.json"
    file.write_text(wrong, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        calculate("charge", {"label": "500 g", "judgement": file})
    assert caught.value.problems[0].field == "judgement"


def test_the_engines_own_judgement_tells_a_charge():
    import loopwright
    from loopwright.api.wire import to_wire

    psi = {"phase": "running", "quantity": "pressure"}
    sheet = {
        "schema": 1,
        "vehicle": {"refrigerant": "R134a", "charge_g": 700},
        "weather": {"air_temperature_c": 30.0, "relative_humidity_pct": 45},
        "readings": [psi | {"point": "low_side", "value": "30 psi"}, psi | {"point": "high_side", "value": "200 psi"}],
    }
    found = loopwright.judge(sheet)
    inside, outside = (calculate("charge", {"label": "700 g", "judgement": j}) for j in (found, to_wire(found)))
    charge = found.states["charge"]
    assert inside.rows()[4][1].startswith(f"{1e3 * charge.median:.0f} g (")
    assert inside.rows()[4] == outside.rows()[4]  # the published form is rounded to the gram


def test_text_is_never_the_name_of_a_file(tmp_path):
    """What comes from a page must not make the machine read its own files."""
    file = tmp_path / "rise.csv"
    file.write_text("s,Pa\n" + "\n".join(f"{t},{p}" for t, p in RISE), encoding="utf-8")
    with pytest.raises(InputError, match="Not a reading"):
        calculate("rise", EXAMPLES["rise"] | {"readings": str(file)})
    assert calculate("rise", EXAMPLES["rise"] | {"readings": file.read_text(encoding="utf-8")}).verdict == "leak"
    file.write_text(json.dumps(judgement(1, 2, 3)), encoding="utf-8")
    with pytest.raises(InputError, match="Tells of no charge"):
        calculate("charge", {"label": "500 g", "judgement": str(file)})


@pytest.mark.parametrize("form", calculators(), ids=lambda f: f.id)
def test_a_form_asks_all_that_its_calculation_takes(form):
    """What a page generated from the form sends (every input as text, empty ones too) makes the same sheet."""
    given = dict(EXAMPLES[form.id])
    if "readings" in given:
        given["readings"] = "\n".join(f"{t},{p}" for t, p in RISE)
    typed = {f.name: "on" if given.get(f.name) is True else str(given.get(f.name, "")) for f in form.fields}
    today = datetime.date(2026, 1, 1)
    assert calculate(form.id, typed, today) == calculate(form.id, given, today)
    assert json.loads(json.dumps(form_to_wire(form)))["calculation"] == form.id
    for f in form.fields:
        assert f.label[0].isupper()
        assert f.help
        assert (f.kind == "choice") == bool(f.choices)
        assert f.unit == "" or f.unit == f.units[0]
        for unit in f.units:
            with contextlib.suppress(InputError):
                calculate(form.id, typed | {f.name: f"1 {unit}"}, today)
                continue
            found = problems(form.id, typed | {f.name: f"1 {unit}"})
            assert not any("unit" in p.says and "Not" in p.says for p in found.get(f.name, ())), (f.name, unit, found)


def problems(name, typed):
    try:
        calculate(name, typed, datetime.date(2026, 1, 1))
    except InputError as error:
        return by_field(name, error)
    return {}


def test_what_is_wrong_stands_at_its_input():
    found = problems("hose", {"refrigerant": "R134a", "bore": "wide", "temperature": "25 °C", "colour": "blue"})
    assert set(found) == {"bore", "length", ""}
    refused = problems("hold", EXAMPLES["hold"] | {"rating": "700 kPa"})
    assert "let it down now" in refused["start"][0].says
    assert problems("hose", EXAMPLES["hose"]) == {}


@pytest.mark.parametrize("name", EXAMPLES)
def test_required_means_that_nothing_goes_without(name):
    for field in next(f for f in calculators() if f.id == name).fields:
        left = {k: v for k, v in EXAMPLES[name].items() if k != field.name}
        said = {p.says for p in problems(name, left).get(field.name, ())}
        assert ("Missing." in said) == field.required, (field.name, said)


@pytest.mark.parametrize("step", [s.id for s in steps()])
def test_a_step_asks_what_it_writes_down(step):
    asked = {f.name: f for f in record_fields(step)}
    assert [*asked] == [*next(s for s in steps() if s.id == step).records]
    opened = [Opened(0.0, "Kim", Job("R134a", "R134a", "fixed", 0.5, atmosphere=84.5e3))]
    for name, f in asked.items():
        typed = f.choices[0][0] if f.choices else f"50 {f.unit}".strip()
        assert note(opened, 1.0, "Kim", step, name, typed).record == name
        with pytest.raises(InputError) as caught:
            note(opened, 1.0, "Kim", step, name, "")
        assert caught.value.problems[0].field == name


TYPED = {"refrigerant": "R134a", "machine_refrigerant": "r-134A", "compressor": "Electric", "charge": "1 lb 1.6 oz"}


def test_a_job_as_typed_names_all_that_is_wrong():
    with pytest.raises(InputError) as caught:
        new_job({"machine_refrigerant": "water", "compressor": "belt", "charge": "wide", "altitude": "high"})
    assert [p.field for p in caught.value.problems] == [
        "refrigerant", "machine_refrigerant", "compressor", "charge", "altitude",
    ]  # fmt: skip
    job = new_job(TYPED)
    assert job.label_charge == pytest.approx(0.49895, abs=1e-5)
    assert (job.refrigerant, job.machine_refrigerant, job.compressor) == ("R134a", "R134a", "electric")
    assert new_job(TYPED | {"altitude": "1500 m"}).atmosphere == pytest.approx(84.56e3, abs=10.0)
    for slip in ({"charge": "1 g"}, {"charge": "500 kg"}, {"altitude": "9000 m"}):
        with pytest.raises(InputError, match="a slip, or another unit"):
            new_job(TYPED | slip)


def test_records_are_read_with_their_units():
    opened = [Opened(0.0, "Kim", Job("R134a", "R134a", "fixed", 0.5, atmosphere=84.5e3))]

    def kept(step, record, typed):
        return note(opened, 1.0, "Kim", step, record, typed).value

    assert kept("recover", "recovered_mass", "1 lb 2 oz") == pytest.approx(0.510291)
    assert kept("recover", "pressure_after_wait", "-10 kPa") == pytest.approx(74.5e3)
    assert kept("evacuate", "vacuum_reached", "500 micron") == pytest.approx(66.66, abs=0.01)
    assert kept("identify", "purity", "99.5") == pytest.approx(0.995)
    with pytest.raises(InputError, match="a slip, or another unit"):
        kept("identify", "purity", "0.995")


SLIPS = (
    "", "0", "-1", "1e9", "1e-9", "nan", "inf", "abc", "5 ± ", "± 5", "5 ± 5 ± 5", "5 ± -1", "5 ± 100 %", "25 ± 300 °C",
    "0 K", "-300 °C", "-40 °C", "500 kPa abs", "0 kPa abs", "-200 kPa", "R999", "R744", "helium", None, True, [1],
    "2024-13-45", "3000-01-01", "0001-01-01", "10000 L", "99999999999999999999999", "1,5", "0 L", "0 m", "-5 mL",
    "-5 L/min", "0 s", "-4 h", "0 g", 12345678901234567890, math.nan,
)  # fmt: skip


@pytest.mark.parametrize("name", CALCULATORS)
def test_slips_yield_a_sheet_or_a_named_problem(name):
    """Each field in turn holds nonsense: the answer is a sheet of finite numbers, or problems that name a field."""
    for field in CALCULATORS[name].fields:
        for slip in SLIPS:
            with contextlib.suppress(InputError):
                assert "nan" not in sheet_text(calculate(name, EXAMPLES[name] | {field.name: slip})).split()


@pytest.mark.parametrize(
    ("name", "field", "slip"),
    [
        ("foreign-gas", "pressure", "-200 kPa"),
        ("foreign-gas", "barometer", "-1"),
        ("foreign-gas", "soak", "-4 h"),
        ("evacuation", "reached", "0 Pa"),
        ("evacuation", "volume", "-1 L"),
        ("hold", "end_temperature", "-300 °C"),
        ("co2e", "mass", "-5 g"),
        ("charge", "hoses_at_end", "-1 g"),
        ("leak-rate", "temperature", "-300 °C"),
        ("rise", "drift", "-1"),
        ("rise", "noise", "0"),
        ("cylinder", "requalification_years", "100"),
        ("disconnect", "closed_first", "perhaps"),
    ],
)
def test_what_cannot_be_yields_no_number(name, field, slip):
    with pytest.raises(InputError) as caught:
        calculate(name, EXAMPLES[name] | {field: slip})
    assert field in {problem.field for problem in caught.value.problems}


def test_the_page_is_fresh():
    from loopwright.service.sheets.page import refreshed

    text = (Path(__file__).parents[2] / "docs" / "service.md").read_text(encoding="utf-8")
    assert refreshed(text) == text, "run python -m loopwright.service.sheets.page docs/service.md"


def test_the_page_of_commands_is_fresh():
    import cli_page

    text = cli_page.PAGE.read_text(encoding="utf-8")
    assert cli_page.refreshed(text) == text, "run python tests/service/cli_page.py"
