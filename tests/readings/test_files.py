"""Files: the text on top, the line that each problem names below."""

import json

import pytest
from sheets import whole
from test_read import CASES

from loopwright import readings
from loopwright.errors import InputError

JSON = """{
  "schema": 1,
  "vehicle": {"refrigerant": "R134a",
              "expansion": "orfice"},
  "weather": {
    "air_temperature_c": 88
  },
  "readings": [
    {"phase": "running", "point": "low_side", "quantity": "pressure", "value": "30 psi"},
    {"phase": "running",
     "point": "high_side",
     "quantity": "pressure",
     "value": "high"}
  ],
  "observations": [
    {"phase": "running", "point": "clutch", "kind": "seen"}
  ]
}
"""
TOML = """# a sheet
schema = 1
vehicle.refrigerant = "R134a"
vehicle.expansion = "orfice"

[weather] # the day
air_temperature_c = 88

[[readings]]
phase = "running"
point = "low_side"
quantity = "pressure"
value = "30 psi"

[[readings]]
phase = "running"
point = "high_side"
quantity = "pressure"
value = "high"
instrument = \"\"\"
dial
gauge\"\"\"
accuracy = { kind = "limit", value = 0, unit = 'kPa' }

[[observations]]
phase = "running"
point = "clutch"
kind = "seen"
"""


def lines(text, form):
    (found,) = readings.read_text(text, form)
    return {p.field: p.line for p in found.problems}


def test_json_problems_carry_their_line():
    assert lines(JSON, "json") == {
        "vehicle.expansion": 4,
        "weather.air_temperature_c": 6,
        "readings[1].value": 13,
        "observations[0].value": 16,
    }


def test_toml_problems_carry_their_line():
    assert lines(TOML, "toml") == {
        "vehicle.expansion": 4,
        "weather.air_temperature_c": 7,
        "readings[1].value": 19,
        "readings[1].accuracy.value": 23,
        "observations[0].value": 25,
    }


def test_toml_arrays_and_inline_tables_carry_their_line():
    text = """vehicle = { refrigerant = "R134a" }
weather = { "air_temperature_c" = 31 }
readings = [
  { phase = "running", point = "low_side", quantity = "pressure", value = "30 psi" }, # fine
  # a comment with ] and }
  { phase = "running", point = 'high_side', quantity = "pressure", value = "]},#" },
]
"""
    assert lines(text, "toml") == {"readings[1].value": 6}


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("", 1, "Not JSON"),
        ("{", 1, "Not JSON"),
        ('{\n"a": 1,\n}', 3, "Not JSON"),
        ('{"a": 1\n "b": 2}', 2, "Not JSON"),
        ('{"a": nan}', 1, "Not JSON"),
        ('{"a":\n NaN}', 2, "Not JSON"),
        ('{"a": -Infinity}', 1, "Not JSON"),
        ('{"a": 01}', 1, "Not JSON"),
        ('{"a": 1.}', 1, "Not JSON"),
        ("{'a': 1}", 1, "Not JSON"),
        ('{"a": "\n"}', 1, "Not JSON"),
        ('{"a": "\\x"}', 1, "Not JSON"),
        ('{"a": 1} {"a": 1}', 1, "Something follows"),
        ('{"id": "a",\n "id": "b"}', 2, "Given twice"),
        ("[" * 100000, 1, "Nested too deeply"),
        ('{"a":' * 100000, 1, "Nested too deeply"),
        ("[]", 1, "Not a table"),
        ("3", 1, "Not a table"),
    ],
)
def test_what_is_not_json_is_refused_with_its_line(text, line, says):
    (found,) = readings.read_text(text, "json")
    assert says in found.problems[0].says
    assert found.problems[0].line == line


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("schema = 1\nschema = 1", 2, "Not TOML: Cannot overwrite a value"),
        ("schema == 1", 1, "Not TOML"),
        ("a = [1,", 1, "Not TOML"),
        ("a = " + "[" * 100000, None, "nested too deeply"),
        ("a = " + "1" * 9999, None, "Not TOML"),
        ("[vehicle]\nrefrigerant = 1979-05-27", 2, "Not text"),
        ("weather.air_temperature_c = nan\nvehicle.refrigerant = 'R12'", 1, "Not a finite number"),
    ],
)
def test_what_is_not_toml_is_refused_with_its_line(text, line, says):
    (found,) = readings.read_text(text, "toml")
    assert any(says in p.says and p.line == line for p in found.problems), found.problems


def test_a_huge_number_is_no_number():
    text = '{"vehicle": {"refrigerant": "R12"}, "weather": {"air_temperature_c": ' + "9" * 6000 + "}}"
    (found,) = readings.read_text(text, "json")
    assert [p.says for p in found.problems] == ["Not a finite number."]


def test_json_lines_keep_order_and_one_bad_sheet_stops_no_other(tmp_path):
    good, other = whole(), {**whole(), "id": "second"}
    bad = {**whole(), "id": "third", "schema": 9}
    path = tmp_path / "many.jsonl"
    texts = [json.dumps(good), "", "{nonsense", json.dumps(other), json.dumps(bad)]
    path.write_text("\n".join(texts) + "\n", encoding="utf-8")
    first, broken, second, third = readings.read_file(path)
    assert (first.id, second.id) == ("bay 2, Tuesday", "second")
    assert (broken.line, broken.problems[0].line, broken.id) == (3, 3, "")
    assert (third.line, third.problems[0].line, third.id) == (5, 5, "third")
    assert str(third.error()).startswith("line 5: schema")


@pytest.mark.parametrize("form", ["json", "toml"])
def test_both_forms_of_one_sheet_say_the_same(form, tmp_path):
    toml = """schema = 1
id = "x"
vehicle = { refrigerant = "R-134a", charge_g = 620 }
weather.air_temperature_c = 31
[[readings]]
phase = "running"
point = "vent_center"
quantity = "temperature"
value = 5
unit = "°C"
"""
    as_json = {
        "schema": 1,
        "id": "x",
        "vehicle": {"refrigerant": "R-134a", "charge_g": 620},
        "weather": {"air_temperature_c": 31},
        "readings": [{"phase": "running", "point": "vent_center", "quantity": "temperature", "value": 5, "unit": "°C"}],
    }
    path = tmp_path / f"sheet.{form}"
    path.write_text(toml if form == "toml" else json.dumps(as_json), encoding="utf-8-sig")
    assert readings.read_file(path) == [readings.read(as_json)]


def test_bytes_that_are_no_text_name_their_line(tmp_path):
    path = tmp_path / "sheet.json"
    path.write_bytes(b'{\n"id": "\xff"}')
    (found,) = readings.read_file(path)
    assert (found.problems[0].line, found.problems[0].found) == (2, "byte ff at position 9")
    path.write_bytes('{"id": 1}'.encode("utf-16"))
    assert "UTF-8" in readings.read_file(path)[0].problems[0].says


def test_files_that_cannot_be_read_are_input_errors(tmp_path):
    with pytest.raises(InputError, match="ending does not say"):
        readings.read_file(tmp_path / "sheet.csv")
    with pytest.raises(InputError, match="Cannot be read"):
        readings.read_file(tmp_path / "none.json")
    with pytest.raises(InputError, match="Cannot be read"):
        readings.read_file("nul\0.json")
    with pytest.raises(InputError, match="Not a form"):
        readings.read_text("", "xml")


IN_JSON = [case for case in CASES if case[0] not in ("7", "vehicle") and "finite" not in case[2]]


@pytest.mark.parametrize(("field", "change", "says"), IN_JSON, ids=[f"{f} {s}" for f, _, s in IN_JSON])
def test_each_kind_of_problem_names_its_line(field, change, says):
    sheet = whole()
    change(sheet)
    text = json.dumps(sheet, indent=1, ensure_ascii=True)
    (found,) = readings.read_text(text, "json")
    (problem,) = [p for p in found.problems if p.field == field and says in p.says]
    line = text.splitlines()[problem.line - 1]
    if "Missing" in problem.says and f'"{field.rsplit(".", 1)[-1]}":' not in line:
        assert line.rstrip().endswith("{")  # nothing there to point at: the line where its table begins
    elif field.endswith("]"):
        assert line.strip().strip(",") == problem.found
    else:
        key = field.rsplit(".", 1)[-1]
        assert line.strip().startswith(f'"{key}":')
