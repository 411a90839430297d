"""An export holds what was written and what was understood, in three forms that other programs read alike."""

from __future__ import annotations

import csv
import json
import zipfile
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from databases import Maker
from typer.testing import CliRunner

from loopwright.api.export import FORMS, export
from loopwright.api.export_forms import plain_cell
from loopwright.api.export_tables import TABLES
from loopwright.api.ledger import Ledger, check_export
from loopwright.api.people import People, Person, hashed
from loopwright.api.shop import Shop
from loopwright.cli.main import app
from loopwright.errors import InputError
from loopwright.job import new_entry

AT = "2024-07-01T10:00:00Z"
FORMULA = '=HYPERLINK("http://x","y")'


@pytest.fixture
def shop(url: str) -> Any:
    made = Shop(url, clock=lambda: AT)
    made.judge = lambda *_: False  # type: ignore[method-assign]  # nothing here needs the engine
    job = made.open_job("Ann")
    values = {
        "vehicle.label": FORMULA,
        "vehicle.refrigerant": "R134a",
        "vehicle.charge": "1 lb 5 oz",
        "before.air_temperature": "88 °F",
        "before.running.low_side.pressure": "30 psi",
        "before.running.high_side.pressure": "many",
        "before.running.clutch.seen": "cycling",
    }
    made.write(job, "Ann", values)
    photo = made.records.add_photo("image/jpeg", b"\xff\xd8 not really")
    made.enter(job, [new_entry("photo", "Ann", AT, photo=photo), new_entry("noted", "Ben", AT, text="é\r\n@x")])
    people = People(made.engine)
    people.local_owner()
    ledger = Ledger(url, by="Ann", clock=lambda: AT)
    ledger.start()
    ledger.open("Supplier", "supplier")
    ledger.open("Van", "vehicle", refrigerant="R134a")
    ledger.move("Supplier", "Van", mass_mg=600_000, uncertainty_mg=5_000)
    ledger.close()
    yield made
    made.close()


def read(folder: Path, name: str, form: str) -> list[dict[str, Any]]:
    """A table as other programs read it, the three forms made alike."""
    path = folder / f"{name}.{form}"
    if form == "csv":
        with path.open(encoding="utf-8-sig", newline="") as lines:
            return [{key: plain(key, value, name) for key, value in row.items()} for row in csv.DictReader(lines)]
    rows: list[dict[str, Any]] = (
        json.loads(path.read_text("utf-8")) if form == "json" else pq.read_table(path).to_pylist()
    )
    return rows


def plain(key: str, cell: str, table: str) -> Any:
    kind = next(column.kind for column in TABLES[table].columns if column.name == key)
    if kind != "text":
        return None if cell == "" else int(cell) if kind == "whole" else float(cell)
    return cell.removeprefix("'")


def test_three_forms_hold_the_same(shop: Shop, tmp_path: Path) -> None:
    counts = [export(shop, tmp_path / form, form) for form in FORMS]
    assert counts[0] == counts[1] == counts[2]
    for name in TABLES:
        csv_, json_, parquet = (read(tmp_path / form, name, form) for form in FORMS)
        assert csv_ == json_ == parquet, name
        assert list(counts[0]) == list(TABLES)
    assert counts[0]["values"] == 7
    assert counts[0]["entries"] == 10
    assert counts[0]["ledger_movements"] == 2


def test_values_as_written_and_as_understood(shop: Shop, tmp_path: Path) -> None:
    export(shop, tmp_path / "out", "json")
    values = {row["field"]: row for row in read(tmp_path / "out", "values", "json")}
    low = values["running.low_side.pressure"]
    # 30 psi over one standard atmosphere: 30 x 6894.757 + 101325 Pa (NIST SP 811 and ISO 2533).
    assert (low["written"], low["unit"], low["value"]) == ("30 psi", "Pa", pytest.approx(308_167.7, abs=0.1))
    assert values["charge"]["value"] == pytest.approx(0.453592 + 5 * 0.0283495, abs=1e-5)
    assert values["air_temperature"]["value"] == pytest.approx(304.261, abs=1e-3)
    bad = values["running.high_side.pressure"]
    assert (bad["written"], bad["value"], bad["problem"]) == ("many", None, "Not a number.")
    assert (values["running.clutch.seen"]["written"], values["running.clutch.seen"]["value"]) == ("cycling", None)


def test_no_spreadsheet_runs_a_cell(shop: Shop, tmp_path: Path) -> None:
    export(shop, tmp_path / "out", "csv")
    for name in TABLES:
        kinds = [column.kind for column in TABLES[name].columns]
        with (tmp_path / "out" / f"{name}.csv").open(encoding="utf-8-sig", newline="") as lines:
            for row in list(csv.reader(lines))[1:]:
                text = [cell for cell, kind in zip(row, kinds, strict=True) if kind == "text"]
                assert not [cell for cell in text if cell[:1] in {"=", "+", "-", "@", "\t", "\r", "\n"}]
    assert f"'{FORMULA}" in csv_cells(tmp_path / "out" / "jobs.csv")
    assert plain_cell("@x") == "'@x"


def csv_cells(path: Path) -> list[str]:
    with path.open(encoding="utf-8-sig", newline="") as lines:
        return [cell for row in csv.reader(lines) for cell in row]


def test_the_ledger_and_the_photographs_come_along_unchanged(shop: Shop, tmp_path: Path) -> None:
    export(shop, tmp_path, "parquet")
    with (tmp_path / "ledger.jsonl").open(encoding="utf-8") as lines:
        assert check_export(lines).sound
    (photo,) = read(tmp_path, "photos", "parquet")
    assert (tmp_path / photo["file"]).read_bytes() == b"\xff\xd8 not really"


def test_every_column_is_explained_and_no_secret_is_told(shop: Shop, tmp_path: Path) -> None:
    people = People(shop.engine)
    token = people.make_token(people.local_owner(), "robot")
    people.store.add(Person("p2", "Ben", "trainee"), "ben", "$argon2id$kept", "Ann")
    export(shop, tmp_path, "csv")
    readme = (tmp_path / "README.md").read_text("utf-8")
    for name, table in TABLES.items():
        assert f"## {name}.csv" in readme
        assert all(f"| `{column.name}` |" in readme for column in table.columns)
    told = "".join(path.read_text("utf-8") for path in tmp_path.glob("*.*"))
    assert '"name": "Ben"' in told.replace('""', '"')
    assert not [secret for secret in ("argon2", token, hashed(token)) if secret in told]


def test_an_export_is_not_mixed_with_other_files(shop: Shop, tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(InputError, match="not mixed"):
        export(shop, tmp_path, "csv")
    with pytest.raises(InputError, match="no such form"):
        export(shop, tmp_path / "new", "xml")  # type: ignore[arg-type]


def test_the_command_line_backs_up_restores_and_exports(shop: Shop, url: str, make: Maker, tmp_path: Path) -> None:
    runner, file, other = CliRunner(), tmp_path / "shop.zip", make.empty()
    assert runner.invoke(app, ["shop", "backup", str(file), "--database", url]).exit_code == 0
    assert zipfile.is_zipfile(file)
    assert [path.name for path in tmp_path.iterdir()] == ["shop.zip"]
    assert runner.invoke(app, ["shop", "restore", str(file), "--database", other]).exit_code == 0
    again = runner.invoke(app, ["shop", "restore", str(file), "--database", other])
    assert (again.exit_code, "not mixed" in again.stderr) == (2, True)
    done = runner.invoke(app, ["shop", "export", str(tmp_path / "out"), "--form", "json", "--database", other])
    assert done.exit_code == 0, done.output
    assert {row["number"] for row in read(tmp_path / "out", "jobs", "json")} == {1}
    missing = runner.invoke(app, ["shop", "backup", str(file), "--database", str(tmp_path / "none.sqlite")])
    assert (missing.exit_code, (tmp_path / "none.sqlite").exists()) == (2, False)
