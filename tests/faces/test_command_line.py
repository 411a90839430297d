"""The command: what it prints, where, with which exit code, and what it does not import."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from judgement_by_hand import SHEET, SHORT

from loopwright._version import __version__
from loopwright.api.wire import to_wire
from loopwright.cli.judging import judge_sheets
from loopwright.figures import Judgement
from loopwright.readings import Refused, Test, read_text

GOOD = json.dumps(SHEET)
BAD = json.dumps({**SHEET, "id": "bad", "weather": {"air_temperature_c": "warm"}, "wether": {}})


def by_hand(text: str, form: str, seed: int) -> Iterator[Judgement | Refused]:
    """Stands in for the engine: the judgement made by hand, under each sheet's own id."""
    for test in read_text(text, form):
        yield replace(SHORT, id=test.id, seed=seed) if isinstance(test, Test) else test


def judge(*names: Path, **options: object) -> tuple[int, str]:
    out = io.StringIO()
    code = judge_sheets([str(n) for n in names], out=out, judge=by_hand, **options)  # type: ignore[arg-type]
    return code, out.getvalue()


@pytest.fixture
def good(tmp_path: Path) -> Path:
    path = tmp_path / "good.json"
    path.write_text(GOOD, encoding="utf-8")
    return path


@pytest.fixture
def bad(tmp_path: Path) -> Path:
    path = tmp_path / "bad.json"
    path.write_text(BAD, encoding="utf-8")
    return path


def test_text_by_default(good: Path) -> None:
    code, text = judge(good)
    assert code == 0
    assert text.startswith("Delivery van · R134a · by hand\n\n× Does not perform")


def test_json_is_the_published_judgement(good: Path) -> None:
    code, text = judge(good, as_json=True, seed=7)
    assert code == 0
    assert json.loads(text) == json.loads(json.dumps(to_wire(replace(SHORT, seed=7))))


def test_a_batch_keeps_its_order_and_goes_on_after_a_bad_line(tmp_path: Path) -> None:
    ids = ["first", "bad", "third"]
    batch = tmp_path / "many.jsonl"
    sheets = [json.dumps({**SHEET, "id": "first"}), BAD, "", json.dumps({**SHEET, "id": "third"})]
    batch.write_text("\n".join(sheets), encoding="utf-8")
    code, text = judge(batch)
    records = [json.loads(line) for line in text.splitlines()]
    assert code == 0
    assert [r["id"] for r in records] == ids
    assert ["verdict" in r for r in records] == [True, False, True]
    assert {e["field"] for e in records[1]["errors"]} >= {"weather.air_temperature_c", "wether"}
    assert records[1]["line"] == 2


def test_all_problems_are_shown_together(bad: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, text = judge(bad)
    said = capsys.readouterr().err
    assert (code, text) == (2, "")
    assert "2 problems" in said
    for part in ("line 1", "weather.air_temperature_c", "found    warm", "wether", "Did you mean"):
        assert part in said


def test_json_gives_problems_as_a_document(bad: Path) -> None:
    code, text = judge(bad, as_json=True)
    assert code == 2
    assert json.loads(text)["status"] == 422


def test_one_bad_file_among_good_ones_is_told_by_the_exit_code(
    good: Path, bad: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, text = judge(good, bad, good)
    assert code == 2
    assert text.count("Does not perform") == 2
    assert "bad.json cannot be judged" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["no_such.json", "sheet.xlsx"])
def test_a_file_that_cannot_be_used_is_bad_input(tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert judge(tmp_path / name) == (2, "")
    assert name in capsys.readouterr().err


def test_bytes_that_are_no_text_are_bad_input(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "odd.json"
    path.write_bytes(b'{"id": "\xff"}')
    assert judge(path) == (2, "")
    assert "UTF-8" in capsys.readouterr().err


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_a_picture_on_request(good: Path, tmp_path: Path, ending: str) -> None:
    target = tmp_path / f"picture.{ending}"
    assert judge(good, picture_file=target)[0] == 0
    assert target.stat().st_size > 5000


@pytest.mark.parametrize("name", ["picture.gif", "no_folder/picture.svg"])
def test_a_picture_that_cannot_be_written_is_refused_before_judging(
    good: Path, tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert judge(good, picture_file=tmp_path / name) == (2, "")
    assert "--picture" in capsys.readouterr().err


def test_one_picture_shows_one_sheet(good: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert judge(good, good, picture_file=tmp_path / "a.svg") == (2, "")
    assert "one sheet" in capsys.readouterr().err


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "loopwright", *arguments]
    return subprocess.run(command, capture_output=True, text=True, encoding="utf-8", check=False)


def test_version() -> None:
    done = run("--version")
    assert (done.returncode, done.stdout) == (0, f"loopwright {__version__}\n")


def test_version_imports_nothing_heavy() -> None:
    code = (
        "import sys\n"
        "from loopwright.cli.main import run\n"
        "sys.argv = ['loopwright', '--version']\n"
        "try:\n    run()\nexcept SystemExit:\n    print(sorted({m.split('.')[0] for m in sys.modules}))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.splitlines()[-1].strip("[]").replace("'", "").split(", "))
    assert "loopwright" in loaded
    assert not loaded & {"numba", "numpy", "scipy", "vl_convert", "CoolProp", "jsonschema"}


def test_help_names_every_command() -> None:
    said = run("--help").stdout
    assert all(command in said for command in ("judge", "demo", "serve", "--version"))


def test_no_sheet_is_a_usage_error() -> None:
    assert run("judge").returncode == 2
