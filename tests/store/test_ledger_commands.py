"""`loopwright ledger` as typed in the bay."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa
import zxingcpp
from PIL import Image
from typer.testing import CliRunner, Result

from loopwright.api.ledger import Ledger
from loopwright.cli.ledger import app

SHOP = """
    open Gas supplier --title "Gas Ltd"
    cylinder A R-134a virgin --tare "11 lb" --water-capacity 12kg --due 2028-01-01
    open Van vehicle --refrigerant r134a
    open M machine --refrigerant R134a --state recycled --make X --model Y --serial 1 --manufactured 2020-01-01
    operator Ann --certificate 77 --proof "binder 2"
    post Gas A "10 kg" --uncertainty 10
    post A Van "1 lb 5 oz" --uncertainty 9g --job 17 --at 2026-07-01T08:00:00Z
"""
Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    runner = CliRunner()
    database = str(tmp_path / "shop.sqlite")

    def typed(line: str, code: int = 0) -> Result:
        import shlex

        environment = {"LOOPWRIGHT_LEDGER": database, "LOOPWRIGHT_OPERATOR": "Ann"}
        result = runner.invoke(app, shlex.split(line), env=environment, prog_name="loopwright ledger")
        assert result.exit_code == code, (line, result.output, result.exception)
        return result

    for line in filter(None, map(str.strip, SHOP.splitlines())):
        typed(line)
    return typed


def test_balances_stand_in_order_and_add_up(run: Run) -> None:
    said = run("balance").stdout
    assert "vehicle      Van                      R134a             595.3 g ± 9.0 g" in said
    assert "sum                   0.0 g" in said
    (row,) = json.loads(run("balance Van --json").stdout)
    assert row == {"account": "Van", "refrigerant": "R134a", "mass_mg": 595340, "uncertainty_mg": 9000}


def test_a_mistake_is_reversed_with_its_reason(run: Run) -> None:
    assert "--because" in run("reverse 10", code=2).output
    run('reverse 10 --because "wrong van"')
    assert json.loads(run("balance Van --json").stdout)[0]["mass_mg"] == 0
    assert "wrong van" in run("history Van").stdout


def test_a_refusal_says_what_would_do_and_writes_nothing(run: Run) -> None:
    before = run("receipt").stdout
    said = run("post Van M 700 --uncertainty 5", code=2).stderr
    assert said.startswith("Nothing was written: 1 problem.")
    assert "Van holds 595.3 g ± 9.0 g of R134a" in said
    assert max(map(len, said.splitlines())) <= 80
    assert run("post Van Nowhere 1 --uncertainty 5", code=2).stderr
    assert run("post Van M pound --uncertainty 5", code=2).stderr
    assert run("amend A colour=blue", code=2).stderr
    assert run("receipt").stdout == before


def test_weighing_says_what_is_unexplained(run: Run) -> None:
    assert "within what is uncertain" in run('weigh A --gross "14.38 kg" --uncertainty 10').stdout
    said = run("weigh A --found 9300 --uncertainty 10 --against unexplained").stdout
    assert "standard uncertainties: unexplained." in said
    assert json.loads(run("balance A --json").stdout)[0]["mass_mg"] == 9_300_000


def test_the_whole_stock_against_the_scale(run: Run) -> None:
    said = run("reconcile").stdout
    assert "Last weighing of each account\n  none" in said
    assert "Never weighed, and not empty by the books: A (R134a), Van (R134a)." in said
    run("weigh A --found 9300 --uncertainty 10")
    assert "! A (R134a): beyond uncertainty and not booked." in run("reconcile").stdout
    run("weigh A --found 9300 --uncertainty 10 --against unexplained")
    said = run("reconcile").stdout
    assert "beyond uncertainty" not in said
    assert "Booked to unexplained." in " ".join(said.split())
    assert max(map(len, said.splitlines())) <= 80
    answer = json.loads(run("reconcile --json").stdout)
    assert answer["unexplained"] == {"R134a": {"mass_mg": 104_660, "uncertainty_mg": 16_763}}  # 9404.66 less 9300 g
    by_name = {row["account"]: row["weighed"] for row in answer["accounts"]}
    assert by_name["A"]["unexplained"]["mass_mg"] == -104_660
    assert by_name["Van"] is None
    run("reverse 12 --because mistyped")  # the booked weighing; the reading of entry 11 counts again
    assert json.loads(run("reconcile --json").stdout)["accounts"][0]["weighed"]["entry"] == 11


def test_a_loss_to_the_air_is_called_what_it_is(run: Run) -> None:
    assert "unlawful" in run("post Van atmosphere 20 --uncertainty 10 --method estimate").stdout


def test_verify_tells_and_its_exit_code_tells(run: Run, tmp_path: Path) -> None:
    receipt = run("receipt").stdout.strip()
    assert receipt in run(f"verify --receipt {receipt}").stdout
    exported = run("export").stdout
    (tmp_path / "chain.jsonl").write_text(exported, encoding="utf-8")
    assert "Sound" in run(f"verify --export {tmp_path / 'chain.jsonl'} --receipt {receipt}").stdout
    (tmp_path / "chain.jsonl").write_text(exported.replace("595340", "495340"), encoding="utf-8")
    assert "entry 10" in run(f"verify --export {tmp_path / 'chain.jsonl'}", code=3).stdout
    engine = sa.create_engine(f"sqlite:///{tmp_path / 'shop.sqlite'}")
    with engine.begin() as connection:
        connection.exec_driver_sql("DROP TRIGGER ledger_leg_update")
        connection.exec_driver_sql("UPDATE ledger_leg SET balance_mg = 0 WHERE seq = 10")
    engine.dispose()
    assert "entry 10: The table of balances is not what the chain says" in run("verify", code=3).stdout
    assert run("verify --receipt nonsense", code=2).stderr
    assert run(f"verify --export {tmp_path / 'nothing'}", code=2).stderr


def test_export_and_load(run: Run, tmp_path: Path) -> None:
    rows = list(csv.DictReader(run("export --form csv").stdout.splitlines()))
    assert [(row["account"], row["mass_g"]) for row in rows][-2:] == [("A", "-595.34"), ("Van", "595.34")]
    assert json.loads(run("export --form json --since 2026-07-02").stdout)[-1]["account"] == "A"
    assert run("export --form pdf", code=2).stderr
    (tmp_path / "chain.jsonl").write_text(run("export").stdout, encoding="utf-8")
    other = tmp_path / "other.sqlite"
    assert "10 entries loaded" in run(f"load {tmp_path / 'chain.jsonl'} --database {other}").stdout
    assert run(f"receipt --database {other}").stdout == run("receipt").stdout
    assert run(f"load {tmp_path / 'chain.jsonl'}", code=2).stderr
    assert run(f"load {tmp_path / 'nothing'} --database {tmp_path / 'third'}", code=2).stderr


def test_records_for_an_inspector(run: Run) -> None:
    assert "us_federal" in run("records").stdout
    said = run("records us_federal").stdout
    assert "read in a public repository" in said.replace("\n    ", " ")
    assert "nothing that these rules ask" in said or "Missing" in said
    assert max(map(len, said.splitlines())) <= 80
    assert json.loads(run("records australia --json").stdout)["quarters"][0]["charged_g"] == 595.34
    assert "us_federal" in run("records atlantis", code=2).stderr


def test_a_label_on_the_screen_and_on_paper(run: Run, tmp_path: Path) -> None:
    assert "Do not fill after 2028-01-01" in run("label A").stdout
    run(f"label A --to {tmp_path / 'a.svg'}")
    assert (tmp_path / "a.svg").read_text(encoding="utf-8").startswith("<svg")
    run(f"label A --to {tmp_path / 'a.png'}")
    picture = Image.open(tmp_path / "a.png").convert("L")
    assert abs(picture.width / picture.height - 90 / 50) < 0.01
    assert [found.text for found in zxingcpp.read_barcodes(np.asarray(picture))] == ["loopwright:account/A"]
    assert "svg or .png" in run(f"label A --to {tmp_path / 'a.pdf'}", code=2).stderr


def test_reading_makes_no_ledger(tmp_path: Path) -> None:
    missing = tmp_path / "none.sqlite"
    result = CliRunner().invoke(app, ["balance", "--database", str(missing)])
    assert (result.exit_code, missing.exists()) == (2, False)
    assert "There is no ledger here yet" in result.stderr


def test_amending_through_the_command(run: Run) -> None:
    run('amend A state=recovered requalification_due=2031-01-01 tare_mg="5.1 kg" --note tested')
    said = run("label A").stdout
    assert "Do not fill after 2031-01-01" in said
    assert "Tare 5100 g" in said


def test_it_hangs_on_the_one_command(tmp_path: Path) -> None:
    command = [sys.executable, "-c", "from loopwright.cli.main import run; run()", "ledger", "--help"]
    answer = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60, encoding="utf-8")
    for name in ("open", "cylinder", "post", "reverse", "weigh", "balance", "reconcile", "verify", "export", "label"):
        assert name in answer.stdout


def test_both_doors_open_the_same_ledger(run: Run, tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "shop.sqlite", by="Bob")
    assert ledger.holdings("Van")["R134a"].mass_mg == 595_340
    ledger.close()


def test_the_commands_of_the_page_do_what_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import shlex

    monkeypatch.chdir(tmp_path)
    page = (Path(__file__).parents[2] / "docs" / "ledger.md").read_text(encoding="utf-8")
    commands = [line for line in page.split("```")[1].splitlines() if line]
    for command in commands:
        result = CliRunner().invoke(app, shlex.split(command)[2:], prog_name="loopwright ledger")
        assert result.exit_code == 0, (command, result.output)
    assert len(commands) == 10
    assert (tmp_path / "a.png").exists()
