"""The report of a job as the shop keeps it."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from PIL import Image
from starlette.testclient import TestClient
from vans import mended, pages, plain, read_back, sheet, squeezed

from loopwright.api.job_report import job_report
from loopwright.api.ledger import Ledger, Operator
from loopwright.api.service_ledger import Wanted, book, vehicle_account
from loopwright.api.shop import Shop, new_entry
from loopwright.errors import InputError
from loopwright.report import pdf
from loopwright.service.events import Deviated, Finished, Job, Noted, Opened, Started, to_plain
from loopwright.web.app import create_app

AT = "2026-11-25T14:10:00Z"
NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC).timestamp()


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    book = Shop(tmp_path / "shop.sqlite", clock=lambda: AT)
    yield book
    book.close()


def keep(shop: Shop, job: str, kind: str, **data: object) -> None:
    """Enter without asking for a judgement: the report must do without one that is kept."""
    shop.records.enter(job, [new_entry(kind, "Ann", AT, **data)])  # type: ignore[arg-type]


def write(shop: Shop, job: str, values: dict[str, str]) -> None:
    shop.records.enter(
        job, [new_entry("wrote", "Ann", AT, field=field, value=value) for field, value in values.items()]
    )


VEHICLE = {
    "vehicle.label": "Delivery van",
    "vehicle.plate": "HRB 214",
    "vehicle.customer": "R. Okafor",
    "vehicle.complaint": "warm since August",
    "vehicle.refrigerant": "R-134a",
    "vehicle.expansion": "orifice",
    "vehicle.storage": "accumulator",
    "vehicle.compressor": "fixed",
    "vehicle.charge": "800 g",
    "vehicle.high_port": "liquid_line",
}


def readings_of(moment: str) -> dict[str, str]:
    written = sheet("van_short_of_refrigerant") if moment == "before" else mended()
    found = {f"{moment}.air_temperature": "31 °C", f"{moment}.relative_humidity": "45", f"{moment}.altitude": "250"}
    found |= {f"{moment}.minutes_running": "8", f"{moment}.compressor_speed": "1800", f"{moment}.gauges": "dial, #7"}
    for reading in written["readings"]:
        found[f"{moment}.{reading['phase']}.{reading['point']}.{reading['quantity']}"] = reading["value"]
    return found


def serve(shop: Shop, job: str) -> None:
    """The first steps of a service: identified, recovered, and one step passed over."""
    events = [
        Opened(NOON, "Ann", Job("R134a", "R134a", "fixed", 0.8)),
        Started(NOON + 60, "Ann", "identify"),
        Noted(NOON + 70, "Ann", "identify", "refrigerant_found", "R134a"),
        Noted(NOON + 71, "Ann", "identify", "purity", 0.998),
        Finished(NOON + 80, "Ann", "identify"),
        Started(NOON + 90, "Ann", "recover"),
        Noted(NOON + 900, "Ann", "recover", "recovered_mass", 0.352),
        Noted(NOON + 910, "Ann", "recover", "machine_off", "yes"),
        Noted(NOON + 1250, "Ann", "recover", "pressure_after_wait", 62e3),
        Finished(NOON + 1260, "Ann", "recover"),
        Deviated(NOON + 1300, "Ann", "repair", "Nothing was opened; a valve core only.", "hurt"),
    ]
    shop.records.enter(job, [new_entry("service", "Ann", AT, event=to_plain(event)) for event in events])


def test_a_whole_job_becomes_a_report(shop: Shop) -> None:
    job = shop.open_job("Ann")
    write(shop, job, VEHICLE | readings_of("before") | readings_of("after"))
    keep(shop, job, "did", act="connected", test="before", reason="No goggles at hand.")
    serve(shop, job)
    keep(shop, job, "noted", text="Ordered a new cap.")
    picture = io.BytesIO()
    Image.new("RGB", (32, 24), "navy").save(picture, "PNG")
    keep(shop, job, "photo", photo=shop.records.add_photo("image/png", picture.getvalue()), caption="the valve core")

    report = job_report(shop, job, zone=UTC)
    assert [run.moment for run in report.runs] == ["before", "after"]
    assert [run.judgement.verdict for run in report.runs] == ["does_not_perform", "performs"]
    first, *rest = (plain(page) for page in pages(pdf(report)))
    for said in (
        "Job 1",
        "R. Okafor",
        "HRB 214",
        "23 psi",
        "31 psi",
        "Taken out: 352 g.",
        "Identify the refrigerant: refrigerant",
    ):
        assert said in first, said
    appendix = squeezed(" ".join(rest))
    for said in (
        "dial, #7",
        "Done before: Goggles and gloves on. No goggles at hand.",
        "Nothing was opened; a valve core only.",
        "What the customer says: warm since August",
        "Ordered a new cap.",
        "the valve core",
        "Nov 25, 2026, 12:21",  # when the recovery was finished, in the zone asked for
    ):
        assert squeezed(said) in appendix, said


def test_a_job_with_one_test_and_no_service_is_a_test_alone(shop: Shop) -> None:
    job = shop.open_job("Ann")
    write(shop, job, VEHICLE | readings_of("before"))
    report = job_report(shop, job)
    assert [run.moment for run in report.runs] == ["alone"]
    assert report.refrigerant.movements == ()


def test_a_reading_that_cannot_be_read_and_an_empty_job_still_make_a_report(shop: Shop) -> None:
    job = shop.open_job("Ann")
    assert job_report(shop, job).runs == ()
    write(shop, job, VEHICLE | readings_of("before") | {"before.running.low_side.pressure": "lots"})
    report = job_report(shop, job)
    assert "lots" not in [reading.written for reading in report.runs[0].test.readings]
    assert pdf(report)[:5] == b"%PDF-"


def test_what_the_caller_knows_better_stands_instead(shop: Shop) -> None:
    job = shop.open_job("Ann")
    assert job_report(shop, job, paper="letter", job="A-7", notes=()).job == "A-7"
    assert job_report(shop, job, language="es").language == "es"


def test_no_such_job(shop: Shop) -> None:
    with pytest.raises(InputError):
        job_report(shop, "none")


def test_the_books_tell_where_the_refrigerant_went(shop: Shop, tmp_path: Path) -> None:
    job = shop.open_job("Ann")
    write(shop, job, VEHICLE)
    stored, books = shop.job(job), Ledger(shop.engine, by="Ann", clock=lambda: AT)
    books.start()
    books.open_cylinder("C-04", "R134a", "recovered", tare_mg=8_000_000, water_capacity_mg=12_000_000)
    books.open_cylinder("V-01", "R134a", "virgin", tare_mg=8_000_000, water_capacity_mg=12_000_000)
    books.open("Supplier", "supplier")
    books.move("Supplier", "V-01", mass_mg=5_000_000, uncertainty_mg=5_000)
    van = vehicle_account(stored.vehicle)
    for source, target, mass, limit in ((van, "C-04", "352 g", "5.2 g"), ("V-01", van, "798 g", "6.9 g")):
        book(books, stored, "R134a", Wanted(source, target, mass, "scale", limit), key=f"{mass} moved", at=AT)
    books.register(Operator("Ann", "Section 609", "A-17"))
    report = job_report(shop, job, ledger=books)
    assert (report.technician.name, report.technician.certification) == ("Ann", "Section 609 A-17")
    moved = report.refrigerant
    ways = [(m.direction, round(1e3 * m.mass), round(1e3 * m.uncertainty)) for m in moved.movements]
    # a limit is uniform: its half-width over the square root of three (JCGM 100:2008, 4.3.7)
    assert [way for way in ways if way[0] != "other"] == [("out", 352, 3), ("in", 798, 4)]
    first = plain(pages(pdf(report))[0])
    assert "Taken out: 352 g ± 3 g. Put in: 798 g ± 4 g. By the books the vehicle now holds 798 g" in first


def test_the_page_gives_the_report(shop: Shop) -> None:
    job = shop.open_job("Ann")
    write(shop, job, VEHICLE)
    with TestClient(create_app(shop), base_url="http://localhost") as client:
        got = client.get(f"/jobs/{job}/report.pdf?paper=letter")
        assert (got.status_code, got.headers["content-type"]) == (200, "application/pdf")
        assert "no-store" in got.headers["cache-control"]
        assert read_back(got.content).pages[0].mediabox.width == 612
        assert "Job 1" in plain(pages(got.content)[0])
        spanish = client.get(f"/jobs/{job}/report.pdf", headers={"Accept-Language": "es"})
        assert "Informe" in plain(pages(spanish.content)[0])
        assert client.get("/jobs/none/report.pdf").status_code == 404
        assert client.get(f"/jobs/{job}/report.pdf?paper=a5").status_code in (400, 404, 422)
