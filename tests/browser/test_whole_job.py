"""The whole job as people do it: with a thumb on a phone, with the keyboard alone, and two at once."""

from __future__ import annotations

import io
import json
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

from phone import Phone, Served
from PIL import Image

MOST_ACTS = 40  # taps and fields typed, from the empty list to a verdict with seven readings (asked of the app)
Phones = Callable[..., Phone]

# An invented van short of refrigerant, the readings of the README's first sheet and two more.
STANDING = {"air_temperature": "88", "relative_humidity": "45", "standing.low_side.pressure": "98"}
RUNNING = {
    "running.low_side.pressure": "23",
    "running.high_side.pressure": "145",
    "running.vent_center.temperature": "59",
}
PROBED = {
    "running.compressor_suction.temperature": "75",
    "running.condenser_outlet.temperature": "95",
    "running.evaporator_outlet.temperature": "70",
}


def kept(served: Served, job: str) -> list[tuple[str, dict[str, Any]]]:
    """The entries of a job as they stand in the database: kind and data."""
    name = job.rpartition("/")[2]
    with sqlite3.connect(f"file:{served.database}?mode=ro", uri=True) as connection:
        rows = connection.execute("SELECT kind, data FROM shop_entry WHERE job = ? ORDER BY seq", (name,))
        return [(kind, json.loads(data)) for kind, data in rows]


def to_the_running_engine(phone: Phone) -> None:
    """From a new job to the stage of the running engine, as the page leads."""
    phone.choose("vehicle.refrigerant", "R134a")
    phone.choose("vehicle.expansion", "orifice")
    phone.onward("before")
    for act in ("protected", "exhaust_led_off", "connected"):
        phone.do(act)
    phone.onward("standing")
    for field, text in STANDING.items():
        phone.type(f"before.{field}", text)
        if field != "standing.low_side.pressure":
            phone.enter()
    phone.onward("running")
    phone.do("hoses_clear")
    phone.do("settled")


def test_a_whole_job_on_a_phone(phone: Phones, served: Served, tmp_path: Path) -> None:
    ann = phone()
    job = ann.new_job()
    ann.acts = 1
    to_the_running_engine(ann)
    for field, text in RUNNING.items():
        ann.type(f"before.{field}", text)
    ann.onward("feel")
    for field, text in PROBED.items():
        ann.type(f"before.{field}", text)
    ann.enter()
    ann.page.locator("#verdict").click()
    ann.acts += 1
    verdict = ann.wait_verdict()
    assert ann.acts <= MOST_ACTS
    print(f"\n> A verdict with seven readings after {ann.acts} taps and fields typed.")
    assert verdict.startswith("Does not perform for 88 °F and 45 % humidity")
    # Three causes are about even on these readings (0.38, 0.34 and 0.28 with ten times the draws): which of them comes
    # first is the sampler's luck, that they lead the list is not.
    leading = ann.page.locator(".causes .cause").all_inner_texts()[:3]
    for cause in ("short of refrigerant", "expansion device that passes too little", "restriction on the high side"):
        assert any(cause in text for text in leading), leading
    # Each reading stands on its strip, and the plane is drawn.
    strips = ann.page.locator('.row:has([data-field^="before.running"]) .strip-mark')
    assert strips.count() == len(RUNNING) + len(PROBED)
    assert ann.until("document.querySelector('.plane img').naturalWidth > 0")
    assert ann.page.locator(".next .next-name").inner_text()

    ann.open_stage("stop")
    ann.do("stopped")
    ann.type("before.after_stop.low_side.pressure", "90")
    ann.onward("away")
    for act in ("valves_closed", "hoses_off", "caps_on", "hoses_recovered"):
        ann.do(act)
    ann.open_stage("notes")
    ann.page.locator("#note").fill("Oil at the condenser's corner.")
    ann.tap(ann.page.locator("[data-add-note]"))
    picture = tmp_path / "corner.png"
    picture.write_bytes(_picture())
    ann.page.set_input_files("#photo", picture)
    ann.until("[...document.querySelectorAll('.photos img')].some(img => img.naturalWidth > 0)")
    ann.wait_saved()

    # The test after the work: of the same vehicle, blank again.
    ann.page.get_by_role("link", name="Retest").click()
    assert ann.value("after.air_temperature") == ""
    ann.open_stage("standing")
    ann.type("after.air_temperature", "88")
    ann.open_stage("running")
    ann.type("after.running.vent_center.temperature", "46")
    ann.wait_verdict()
    ann.page.get_by_role("link", name="Compare").click()
    words = ann.page.locator("main").inner_text()
    assert "59 °F" in words
    assert "46 °F" in words

    ann.page.get_by_role("link", name="History").click()
    ann.page.get_by_role("button", name="Undo").first.click()
    assert "taken back" in ann.page.locator(".entry-gone").first.inner_text()
    ann.page.goto(f"{job}?test=after")
    assert ann.value("after.running.vent_center.temperature") == ""

    report = ann.context.request.get(f"{served.address}{job}/report.pdf")
    assert report.headers["content-type"] == "application/pdf"
    assert report.body().startswith(b"%PDF-")
    kinds = [kind for kind, _ in kept(served, job)]
    assert {"opened", "wrote", "did", "noted", "photo", "undid"} == set(kinds)


def _picture() -> bytes:
    made = io.BytesIO()
    Image.effect_mandelbrot((640, 480), (-2.2, -1.2, 0.8, 1.2), 60).save(made, "PNG")
    return made.getvalue()


def test_the_keyboard_alone_leads_to_a_verdict(phone: Phones, served: Served) -> None:
    desk = phone(1280, 800, scheme="dark")
    keys = desk.page.keyboard
    desk.page.goto("/")
    desk.tab_to("main button")
    keys.press("Enter")
    desk.page.wait_for_url("**/jobs/*-*")
    desk.tab_to('[name="vehicle.refrigerant"]')
    keys.press("ArrowUp")  # from "not known", the last, to the last of the refrigerants
    keys.press("ArrowUp")
    chosen = desk.page.evaluate("document.activeElement.value")
    desk.tab_to('[data-onward="stage-before"]')
    keys.press("Enter")
    assert desk.page.evaluate("document.activeElement.closest('details').id") == "stage-before"
    desk.tab_to('[data-act="protected"]')
    keys.press("Space")
    desk.tab_to('[data-onward="stage-standing"]')
    keys.press("Enter")
    desk.tab_to('[data-field="before.air_temperature"]')
    keys.type("31 C")
    keys.press("Enter")
    assert desk.page.evaluate("document.activeElement.dataset.field") == "before.relative_humidity"
    keys.type("45")
    desk.tab_to('[data-onward="stage-running"]')
    keys.press("Enter")
    desk.tab_to('[data-field="before.running.vent_center.temperature"]')
    keys.type("60")
    keys.press("Tab")
    desk.wait_verdict()
    desk.tab_to("#verdict", 120)
    keys.press("Enter")
    assert desk.page.evaluate("location.hash") == "#result"
    entries = kept(served, desk.page.url.partition("#")[0])
    written = {data["field"]: data["value"] for kind, data in entries if kind == "wrote"}
    assert written["vehicle.refrigerant"] == chosen
    assert written["before.air_temperature"] == "31 C"
    assert written["before.running.vent_center.temperature"] == "60 °F"


def test_an_act_too_early_asks_why_and_the_answer_is_kept(phone: Phones, served: Served) -> None:
    ann = phone()
    job = ann.new_job()
    ann.open_stage("away")
    ann.do("hoses_off")
    why = ann.page.locator('[data-reason="hoses_off"]')
    assert "Coupler valves closed, both sides" in ann.page.locator(".early").inner_text()
    why.fill("Coupler stuck; the maker's tool was used.")
    why.press("Tab")
    ann.wait_saved()
    ann.page.reload()
    ann.open_stage("away")
    assert why.input_value() == "Coupler stuck; the maker's tool was used."
    assert kept(served, job)[-1][1]["reason"] == "Coupler stuck; the maker's tool was used."


def test_two_phones_at_one_job_see_each_others_entries(phone: Phones) -> None:
    ann, ben = phone(), phone()
    job = ann.new_job()
    ben.page.goto(job)
    ann.choose("vehicle.refrigerant", "R134a")
    ben.until("document.querySelector('[data-field=\"vehicle.refrigerant\"][value=R134a]').checked")
    ben.open_stage("standing")
    ben.page.locator('[id="f-before.air_temperature"]').press_sequentially("9")  # Ben is in the middle of a number ...
    ann.open_stage("standing")
    ann.type("before.relative_humidity", "45")
    ben.until("document.getElementById('f-before.relative_humidity').value === '45'")
    assert ben.value("before.air_temperature") == "9"  # ... and keeps it, and his place, while Ann's lands
    assert ben.page.evaluate("document.activeElement.id") == "f-before.air_temperature"
    ben.page.keyboard.type("0")
    ann.until("document.getElementById('f-before.air_temperature').value === '90'")
    # What Ann changed after Ben can be typed by Ben again.
    ann.page.locator('[id="f-before.air_temperature"]').fill("92")
    ann.page.locator('[id="f-before.relative_humidity"]').focus()
    ben.page.locator('[id="f-before.relative_humidity"]').focus()
    ben.until("document.getElementById('f-before.air_temperature').value === '92'")
    ben.page.locator('[id="f-before.air_temperature"]').fill("90")
    ben.page.locator('[id="f-before.relative_humidity"]').focus()
    ann.until("document.getElementById('f-before.air_temperature').value === '90'")
    for one in (ann, ben):
        one.wait_saved()


def test_the_unit_chosen_once_stays_for_blank_fields(phone: Phones) -> None:
    ann = phone()
    ann.new_job()
    ann.open_stage("standing")
    unit = ann.page.locator('[data-unit-of="before.standing.low_side.pressure"]')
    assert unit.inner_text() == "psi"
    unit.click()
    assert unit.inner_text() == "kPa"
    assert "kPa" in (unit.get_attribute("aria-label") or "")
    ann.type("before.standing.low_side.pressure", "680")
    ann.wait_saved()
    ann.page.reload()
    ann.open_stage("standing")
    for side in ("low", "high"):
        assert ann.page.locator(f'[data-unit-of="before.standing.{side}_side.pressure"]').inner_text() == "kPa"
    ann.open_stage("running")
    assert ann.page.locator('[data-unit-of="before.running.low_side.pressure"]').inner_text() == "kPa"


def test_what_cannot_be_read_stays_as_typed_and_says_what_may_be(phone: Phones) -> None:
    ann = phone()
    ann.new_job()
    ann.open_stage("standing")
    ann.type("before.air_temperature", "warm")
    ann.enter()
    ann.page.locator("#problems a").first.wait_for()
    assert ann.value("before.air_temperature") == "warm"
    ann.page.locator("#problems a").first.click()
    assert ann.page.evaluate("document.activeElement.id || location.hash.slice(1)") == "f-before.air_temperature"
