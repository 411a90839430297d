"""The pages of the records: lists, search, a vehicle's history, before beside after, who wrote what, export."""

from __future__ import annotations

import os
import tempfile
import time
import zipfile
from collections.abc import Callable
from dataclasses import replace
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import sqlalchemy as sa
from knocking import Browser, Place, words

from loopwright.api.judging import encode, sheet_hash
from loopwright.diagnosis.judgement import Expected, Fit, Interval, Judgement, PlanePoint
from loopwright.figures.words import VERDICTS
from loopwright.job import new_entry, sheet_of
from loopwright.language import say, speaking
from loopwright.store.jobs import KeptJudgement
from loopwright.web.pages.vehicles.chart import Point, chart_of

AT = "2026-05-04T10:00:00Z"
HOSTILE = "<script>alert(1)</script>\"'{{ 7*7 }}"
VAN = {
    "vehicle.label": "Ice-cream van",
    "vehicle.plate": "ICE 1",
    "vehicle.refrigerant": "R134a",
    "vehicle.charge": "800 g",
    "before.air_temperature": "31 °C",
    "before.running.low_side.pressure": "2 bar",
}
BAND = Interval(250e3, 300e3, 380e3)
LOW = Expected("running", "low_side", "pressure", "Pa", BAND, 301e3, sigma=7e3)
HEALTHY = Judgement(
    id="", engine="0.0", seed=0, seconds=1.0, verdict="performs", reasons=(), settled=True, settled_why="", causes=(),
    states={"charge": Interval(0.7, 0.8, 0.9)}, expected=(LOW,), next_checks=(), fit=Fit(100.0, {}, 0.5), cautions=(),
    ambient_pressure=101325.0, refrigerant="R134a",
    cycle=(
        PlanePoint("1", 3e5, 4e5), PlanePoint("2", 15e5, 4.4e5),
        PlanePoint("3", 15e5, 2.6e5), PlanePoint("4", 3e5, 2.6e5),
    ),
)  # fmt: skip


class Shop:
    """A shop of one person, whose judgements are put in by hand."""

    def __init__(self, place: Place, signed_in: str = "") -> None:
        self.place, self.shop = place, place.shop
        self.shop.judge = lambda *_: False  # type: ignore[method-assign]
        self.browser = Browser(place, signed_in=signed_in)
        self.browser.get("/settings")

    def job(self, values: dict[str, str] | None = None, vehicle: str | None = None, by: str = "Ann") -> str:
        job = self.shop.open_job(by, vehicle)
        self.shop.write(job, by, VAN if values is None else values)
        return job

    def judged(self, job: str, test: str = "before", **changes: Any) -> None:
        judgement = replace(HEALTHY, **changes)
        sheet = sheet_of(self.shop.job(job).state, test).sheet
        kept = KeptJudgement("0.0", sheet_hash(sheet), judgement.verdict, AT, encode(judgement))
        self.shop.records.keep_judgement(job, test, "en", kept)

    def text(self, path: str) -> str:
        answer = self.browser.get(path)
        assert answer.status_code == 200, answer.text[:500]
        return str(answer.text)

    def says(self, path: str) -> str:
        return words(self.text(path))


@pytest.fixture
def shop(place: Callable[..., Place]) -> Shop:
    return Shop(place())


def test_the_first_page_of_an_empty_shop_says_what_to_do(shop: Shop) -> None:
    assert "No jobs yet." in shop.says("/")
    assert "No vehicles yet." in shop.says("/vehicles")


def test_a_new_job_is_one_tap_and_the_list_shows_its_state(shop: Shop) -> None:
    answer = shop.browser.post("/jobs", page="/")
    assert answer.status_code == 303
    job = shop.job()
    assert "Not judged" in shop.says("/")
    shop.judged(job, verdict="does_not_perform")
    listed = shop.text("/")
    assert listed.index("Ice-cream van") < listed.index("New vehicle")  # newest change first
    assert "Does not perform" in listed
    assert "ICE 1" in listed


def test_search_finds_by_every_word_and_offers_the_vehicle_for_a_new_job(shop: Shop) -> None:
    shop.job()
    shop.job({"vehicle.label": "Blue bus", "vehicle.plate": "ICE 2", "vehicle.vin": "WVWZZZ"})
    found = shop.text("/?q=ice+VAN")
    assert ("Ice-cream van" in found, "Blue bus" in found) == (True, False)
    vehicle = shop.shop.records.vehicles("bus")[0].id
    assert f'value="{vehicle}"' in shop.text("/?q=ice+2")
    answer = shop.browser.post("/jobs", page="/", vehicle=vehicle)
    again = shop.shop.job(answer.headers["location"].rpartition("/")[2])
    assert again.state.vehicle_value("vin") == "WVWZZZ"
    assert "No job holds all of these words" in shop.says("/?q=%25")
    assert shop.browser.get("/?q=a%00b").status_code == 400


def test_a_long_list_has_pages(shop: Shop) -> None:
    for _ in range(51):
        shop.shop.open_job("Ann")
    assert "Older" in shop.says("/")
    assert "Newer" in shop.says("/?page=1")
    assert shop.text("/?page=1").count("job-line") == 1
    assert shop.browser.get("/?page=-1").status_code == 422


def test_a_vehicle_shows_its_visits_over_time_with_the_charge(shop: Shop) -> None:
    first = shop.job()
    shop.judged(first)
    vehicle = shop.shop.job(first).vehicle
    second = shop.job({k: v for k, v in VAN.items() if k.startswith("before.")}, vehicle)
    shop.judged(second, verdict="does_not_perform", states={"charge": Interval(0.3, 0.4, 0.5)})
    page = shop.text(f"/vehicles/{vehicle}")
    told = words(page)
    assert told.index("Job 2") < told.index("Job 1")
    assert "Charge in the circuit 400 g (300 to 500)" in told
    assert page.count('class="charge-bar"') == 2
    assert "800 g" in page
    assert shop.browser.get("/vehicles/nothing").status_code == 404


def test_charges_are_placed_in_time_and_never_on_each_other() -> None:
    from datetime import datetime, timedelta

    start = datetime(2026, 1, 1)
    points = [Point(start + timedelta(days=d), 0.3, 0.4, 0.5, d) for d in (0, 1, 2, 400)]
    chart = chart_of(points, 0.8, str)
    assert chart is not None
    places = [mark.x for mark in chart.marks]
    assert places == sorted(places)
    assert min(b - a for a, b in pairwise(places)) > 20
    assert chart.left <= places[0]
    assert places[-1] <= chart.right
    assert chart.label is not None
    assert chart.label < chart.marks[0].high < chart.marks[0].median < chart.marks[0].low < chart.floor  # down is less
    crowd = chart_of([Point(start, 0.1, 0.2, 0.3, n) for n in range(40)], None, str)
    assert crowd is not None
    assert crowd.left <= crowd.marks[0].x <= crowd.marks[-1].x <= crowd.right


def test_before_stands_beside_after(shop: Shop) -> None:
    job = shop.job()
    standing = [replace(LOW, phase="standing", point=point) for point in ("low_side", "high_side")]
    shop.judged(job, verdict="does_not_perform", expected=(*standing, LOW))
    alone = shop.says(f"/jobs/{job}/compare")
    assert "Not tested after the work yet." in alone
    assert "not read" not in alone  # there is nothing to set beside it
    shop.shop.write(job, "Ann", {"after.air_temperature": "31 °C", "after.running.low_side.pressure": "2.4 bar"})
    later = replace(LOW, measured=341325.0)
    shop.judged(job, "after", expected=(later,))
    both = shop.text(f"/jobs/{job}/compare")
    told = words(both)
    assert "Does not perform for 88 °F" in told
    assert "Performs for 88 °F" in told
    assert "2 bar" in told
    assert "2.4 bar" in told
    for test in ("before", "after"):
        assert f"/jobs/{job}/{test}/plane.svg" in both


def test_the_picture_is_drawn_once_and_then_only_asked_about(shop: Shop) -> None:
    job = shop.job()
    assert shop.browser.get(f"/jobs/{job}/before/plane.svg").status_code == 404
    shop.judged(job)
    first = shop.browser.get(f"/jobs/{job}/before/plane.svg?w=390&theme=dark")
    assert (first.status_code, first.headers["content-type"]) == (200, "image/svg+xml")
    assert "2 bar" in first.text
    tag = first.headers["etag"]
    assert not tag.startswith("W/")
    again = shop.browser.get(f"/jobs/{job}/before/plane.svg?w=390&theme=dark", if_none_match=tag)
    assert (again.status_code, again.content) == (304, b"")
    other = shop.browser.get(f"/jobs/{job}/before/plane.svg?w=760&theme=dark")
    assert other.headers["etag"] != tag
    shop.judged(job, verdict="marginal")
    assert shop.browser.get(f"/jobs/{job}/before/plane.svg?w=390&theme=dark", if_none_match=tag).status_code == 200
    assert shop.browser.get(f"/jobs/{job}/before/plane.svg?w=5000").status_code == 422
    assert shop.browser.get(f"/jobs/{job}/during/plane.svg").status_code == 422


def test_a_judgement_of_another_version_or_language_breaks_no_page(shop: Shop) -> None:
    job = shop.job()
    sheet = sheet_of(shop.shop.job(job).state, "before").sheet
    kept = KeptJudgement("0.0", sheet_hash(sheet), "performs", AT, '{"of": "another version"}')
    shop.shop.records.keep_judgement(job, "before", "en", kept)
    vehicle = shop.shop.job(job).vehicle
    for path in ("/", f"/vehicles/{vehicle}", f"/jobs/{job}/compare", f"/jobs/{job}/history", f"/jobs/{job}"):
        shop.text(path)
    shop.judged(job)
    shop.browser.client.headers["accept-language"] = "es"
    with speaking("es"):
        verdict = say(VERDICTS["performs"])
    assert verdict in shop.says(f"/jobs/{job}/compare")  # said in Spanish, though judged in English


def test_who_wrote_what_and_taking_it_back(shop: Shop) -> None:
    job = shop.job({"vehicle.label": "Van"})
    shop.shop.write(job, "Ben", {"vehicle.label": "Bus"})
    path = f"/jobs/{job}/history"
    told = shop.says(path)
    assert told.index("Bus") < told.index("Van")
    assert "Ben" in told
    entry = shop.shop.job(job).entries[-1].id
    assert shop.browser.post(f"/jobs/{job}/undo", page=path, entry=entry).status_code == 303
    assert shop.shop.job(job).state.title == "Van"
    assert "taken back" in shop.says(path)
    # The taking back can be taken back as well; what was taken back already cannot be again.
    assert shop.browser.post(f"/jobs/{job}/undo", page=path, entry=entry).status_code == 403
    undo = shop.shop.job(job).entries[-1].id
    assert shop.browser.post(f"/jobs/{job}/undo", page=path, entry=undo).status_code == 303
    assert shop.shop.job(job).state.title == "Bus"
    assert shop.browser.post(f"/jobs/{job}/undo", page=path, entry="nothing").status_code == 404
    opening = shop.shop.job(job).entries[0].id
    assert shop.browser.post(f"/jobs/{job}/undo", page=path, entry=opening).status_code == 403
    assert shop.browser.post(f"/jobs/{job}/undo", page=path, csrf="", entry=undo).status_code == 403


def test_a_trainee_takes_back_their_own_alone(place: Callable[..., Place]) -> None:
    made = place("0.0.0.0")
    made.found()
    shop = Shop(made, signed_in="Tia")
    job = shop.job({"vehicle.label": "Van"})
    path = f"/jobs/{job}/history"
    theirs = shop.shop.job(job).entries[-1].id
    assert shop.browser.post(f"/jobs/{job}/undo", page=path, entry=theirs).status_code == 403
    shop.shop.write(job, "Tia", {"vehicle.label": "Bus"})
    own = shop.shop.job(job).entries[-1].id
    assert shop.browser.post(f"/jobs/{job}/undo", page=path, entry=own).status_code == 303
    technician = Browser(made, signed_in="Ted")
    assert technician.post(f"/jobs/{job}/undo", page=path, entry=theirs).status_code == 303


def test_every_kind_of_entry_is_told_in_words(shop: Shop) -> None:
    job = shop.job()
    entries = [
        new_entry("did", "Ann", AT, act="protected", test="before"),
        new_entry("did", "Ann", AT, act="protected", test="before", done=False),
        new_entry("wrote", "Ann", AT, field="before.running.clutch.seen", value="not_engaged"),
        new_entry("wrote", "Ann", AT, field="vehicle.label", value=""),
        new_entry("service", "Ann", AT, event={"event": "started", "at": 1.0, "by": "Ann", "step": "recover"}),
        new_entry("service", "Ann", "no moment at all", event={"event": "?"}),
        new_entry("undid", "Ann", AT, entry="never was"),
        new_entry("closed", "Ann", AT, reason="done"),
        new_entry("reopened", "Ann", AT),
    ]
    shop.shop.records.enter(job, entries)  # past the door, where the procedure would refuse some
    told = shop.says(f"/jobs/{job}/history")
    for says in (
        "Goggles and gloves on done",
        "tick taken back",
        "not engaged",
        "emptied",
        "Recover the refrigerant begun",
    ):
        assert says in told, says
    assert "Job opened again" in told


def test_hostile_text_is_shown_as_text(shop: Shop) -> None:
    text = dict.fromkeys(
        ("vehicle.label", "vehicle.plate", "vehicle.customer", "vehicle.complaint", "vehicle.oil"), HOSTILE
    )
    job = shop.job({**VAN, **text})
    shop.shop.enter(
        job, [new_entry("noted", HOSTILE, AT, text=HOSTILE), new_entry("closed", HOSTILE, AT, reason=HOSTILE)]
    )
    shop.judged(job)
    vehicle = shop.shop.job(job).vehicle
    for path in (
        "/",
        "/?q=script",
        "/vehicles",
        f"/vehicles/{vehicle}",
        f"/jobs/{job}/compare",
        f"/jobs/{job}/history",
    ):
        page = shop.text(path)
        assert "<script>alert" not in page, path
        assert HOSTILE in words(page), path


def made_within(shop: Shop, seconds: float) -> None:
    """Wait for the file as the page does."""
    end = time.monotonic() + seconds
    while "/export/made.zip" not in (text := shop.text("/export")):
        assert "data-making" in text
        assert time.monotonic() < end
        time.sleep(0.05)


def test_a_file_that_cannot_be_made_is_said_and_another_may_be_tried(
    shop: Shop, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    taking = shop.place.app.state.taking
    database = sa.make_url(f"sqlite:///{tmp_path / 'no' / 'such' / 'folder.sqlite'}")
    taking._shop = SimpleNamespace(engine=SimpleNamespace(url=database), clock=shop.place.shop.clock)
    shop.browser.post("/export", what="csv")
    (folder,) = [taking.now().folder]
    while "data-making" in (text := shop.text("/export")):
        time.sleep(0.05)
    assert "could not be made" in words(text)
    assert "No csv was made" in caplog.text
    assert shop.browser.get("/export/made.zip").status_code == 404
    taking._shop = shop.place.shop
    shop.browser.post("/export", what="json")
    made_within(shop, 60.0)
    assert not folder.exists()
    (folder,) = [taking.now().folder]
    taking.close()
    assert not folder.exists()
    assert taking.now() is None


def test_what_a_killed_program_left_is_swept_away(shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    old, new, other = (tmp_path / name for name in ("loopwright-taken-a", "loopwright-taken-b", "loopwright-notes"))
    for folder in (old, new, other):
        folder.mkdir()
    for folder in (old, other):
        os.utime(folder, (0, 0))
    taking = shop.place.app.state.taking
    taking.begin("json")
    assert not old.exists()
    assert new.exists()
    assert other.exists()
    taking.close()


def test_an_owner_takes_everything_away_and_it_is_put_on_record(shop: Shop) -> None:
    shop.job()
    assert shop.browser.get("/export/made.zip").status_code == 404
    for what, inside in {"csv": "jobs.csv", "backup": "shop_job.jsonl"}.items():
        answer = shop.browser.post("/export", what=what)
        assert (answer.status_code, answer.headers["location"]) == (303, "/export")
        made_within(shop, 60.0)
        answer = shop.browser.get("/export/made.zip")
        assert (answer.status_code, answer.headers["content-type"]) == (200, "application/zip")
        assert answer.headers["content-disposition"].startswith('attachment; filename="loopwright-')
        with zipfile.ZipFile(BytesIO(answer.content)) as archive:
            assert inside in archive.namelist()
            assert archive.testzip() is None
    assert [(line.what, line.subject) for line in shop.place.people.audit()[:2]] == [
        ("export taken", "backup"),
        ("export taken", "csv"),
    ]
    assert shop.browser.post("/export", page="/export", what="everything").status_code == 422


def test_only_an_owner_may_export(place: Callable[..., Place]) -> None:
    made = place("0.0.0.0")
    made.found()
    trainer = Browser(made, signed_in="Tom")
    assert trainer.get("/export").status_code == 403
    assert trainer.post("/export", page="/", what="csv").status_code == 403
