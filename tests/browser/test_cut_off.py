"""Nothing typed is lost: without a network, over a reload, when the page or the shop dies."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from phone import Phone, Served
from PIL import Image
from test_whole_job import kept

Phones = Callable[..., Phone]
LEFT_ON_DEVICE = """() => new Promise((done) => {
  const asked = indexedDB.open("lw", 1);
  asked.onsuccess = () => {
    const counted = asked.result.transaction("photos").objectStore("photos").count();
    counted.onsuccess = () => done(counted.result);
  };
})"""


def typed_once(served: Served, job: str, values: dict[str, str]) -> None:
    """Each of these was kept, and kept once."""
    found = [(data["field"], data["value"]) for kind, data in kept(served, job) if kind == "wrote"]
    assert [one for one in found if one[0] in values] == list(values.items())


def test_a_minute_without_a_network_in_mid_job(phone: Phones, served: Served) -> None:
    ann = phone()
    ann.page.clock.install()
    job = ann.new_job()
    ann.choose("vehicle.refrigerant", "R134a")
    ann.open_stage("standing")
    ann.wait_saved()
    ann.wait_kept()
    ann.cut_off = True
    ann.context.set_offline(True)
    # A browser forgets for a moment, while it loads a page anew, that it was told to be offline.
    ann.page.route("**/entries", lambda route: route.abort("internetdisconnected"))
    ann.type("before.air_temperature", "88")
    ann.enter()
    ann.quiet("offline")
    assert "No connection" in ann.page.locator("#quiet").inner_text()
    ann.type("before.relative_humidity", "45")
    ann.onward("running")
    ann.do("hoses_clear")
    ann.page.clock.fast_forward(60_000)  # a minute of trying again, in an instant
    assert len(ann.waiting()) == 3

    ann.page.reload()  # somebody pulls the page down, in the dead corner of the bay
    assert ann.value("before.air_temperature") == "88"
    assert ann.page.locator('[data-act="hoses_clear"]').is_checked()
    ann.open_stage("running")
    ann.type("before.running.low_side.pressure", "30")
    ann.enter()
    ann.quiet("offline")
    assert len(kept(served, job)) == 2  # nothing of all this has reached the shop yet

    ann.page.unroute("**/entries")
    ann.context.set_offline(False)
    ann.page.clock.fast_forward(5_000)
    ann.wait_saved()
    ann.cut_off = False
    values = {
        "before.air_temperature": "88 °F",
        "before.relative_humidity": "45 %",
        "before.running.low_side.pressure": "30 psi",
    }
    typed_once(served, job, values)
    assert [data["act"] for kind, data in kept(served, job) if kind == "did"] == ["hoses_clear"]


def photographs(served: Served, job: str) -> list[str]:
    return [data["photo"] for kind, data in kept(served, job) if kind == "photo"]


def colours(phone: Phone) -> list[list[int]]:
    """The middle of each picture that the shop has of this job, in the order of the page."""
    found: list[list[int]] = phone.page.locator("#stage-notes a img").evaluate_all(
        """nodes => Promise.all(nodes.map(async node => {
          node.loading = "eager";
          await node.decode();
          const canvas = document.createElement("canvas").getContext("2d");
          canvas.drawImage(node, 0, 0);
          return [...canvas.getImageData(20, 20, 1, 1).data].slice(0, 3);
        }))"""
    )
    return found


def test_photographs_taken_without_a_network_arrive_once_and_in_order(
    phone: Phones, served: Served, tmp_path: Path
) -> None:
    ann = phone()
    job = ann.new_job()
    ann.open_stage("notes")
    ann.wait_kept()
    ann.cut_off = True
    ann.context.set_offline(True)
    ann.page.route("**/photos?*", lambda route: route.abort("internetdisconnected"))  # while it loads anew, too
    waits = ann.page.locator("#photos-waiting figure")
    for number, colour in enumerate(("#d02020", "#2020d0"), 1):
        picture = tmp_path / f"{number}.png"
        Image.new("RGB", (320, 240), colour).save(picture)
        ann.page.set_input_files("#photo", picture)
        ann.until(f"document.querySelectorAll('#photos-waiting figure').length === {number}")
    ann.quiet("offline")
    assert "kept here, not yet sent" in waits.first.inner_text()
    assert Axe().run(ann.page).response["violations"] == []

    ann.page.reload()
    ann.open_stage("notes")
    ann.until(
        "[...document.querySelectorAll('#photos-waiting img')].filter(img => img.naturalWidth === 320).length === 2"
    )
    assert photographs(served, job) == []

    lost = []  # the first sending arrives, its answer does not: the phone must send again, the shop must keep it once

    def lose_one_answer(route: Any) -> None:
        answer = route.fetch()
        if lost:
            route.fulfill(response=answer)
        else:
            lost.append(route.request.url)
            route.abort("connectionreset")

    ann.page.unroute("**/photos?*")
    ann.page.route("**/photos?*", lose_one_answer)
    ann.context.set_offline(False)
    ann.until("Object.keys(localStorage).every(key => !key.startsWith('lw.photo.'))")
    ann.until("!document.querySelector('#photos-waiting figure')")
    ann.cut_off = False
    assert len(lost) == 1
    ann.page.reload()
    ann.open_stage("notes")
    red, blue = colours(ann)
    assert red[0] > 2 * red[2]
    assert blue[2] > 2 * blue[0]
    assert len(photographs(served, job)) == 2
    ann.page.wait_for_timeout(500)  # nothing is left on the device that would be sent again
    assert ann.page.evaluate(LEFT_ON_DEVICE) == 0


def test_a_page_never_seen_says_so_without_a_network(phone: Phones) -> None:
    ann = phone()
    ann.new_job()
    ann.wait_kept()
    ann.cut_off = True
    ann.context.set_offline(True)
    ann.page.goto("/settings")
    assert "No connection to the shop" in ann.page.locator("h1").inner_text()
    ann.context.set_offline(False)
    ann.page.goto("/")
    ann.cut_off = False


def test_a_reload_in_the_middle_of_a_number_keeps_it(phone: Phones, served: Served) -> None:
    ann = phone()
    job = ann.new_job()
    ann.open_stage("standing")
    ann.page.locator('[id="f-before.air_temperature"]').press_sequentially("8")
    ann.page.keyboard.type("8")
    ann.page.reload()
    ann.wait_saved()
    typed_once(served, job, {"before.air_temperature": "88 °F"})
    assert ann.value("before.air_temperature") == "88"


def test_a_page_that_dies_in_the_middle_of_a_number_keeps_it(phone: Phones, served: Served) -> None:
    ann = phone()
    job = ann.new_job()
    ann.open_stage("notes")
    ann.page.locator("#note").press_sequentially("Hiss at the")
    ann.open_stage("standing")
    ann.page.locator('[id="f-before.air_temperature"]').press_sequentially("88")
    ann.kill_page()
    ann.page.goto(job)
    ann.wait_saved_but_notes()
    typed_once(served, job, {"before.air_temperature": "88 °F"})
    assert ann.page.locator("#note").input_value() == "Hiss at the"


def test_the_shop_is_killed_in_mid_job_and_started_again(phone: Phones, served: Served) -> None:
    ann = phone()
    job = ann.new_job()
    ann.open_stage("standing")
    ann.type("before.air_temperature", "88")
    ann.wait_saved()
    ann.cut_off = True
    served.kill()
    ann.type("before.relative_humidity", "45")
    ann.enter()
    ann.quiet("offline")
    served.start()
    ann.wait_saved()
    ann.cut_off = False
    typed_once(served, job, {"before.air_temperature": "88 °F", "before.relative_humidity": "45 %"})
    ann.page.reload()
    assert ann.value("before.air_temperature") == "88"


def test_an_open_page_is_not_drawn_anew_from_what_was_last_seen(phone: Phones) -> None:
    """The kept page is older than the open one: it is for a page that is loaded, not for what a script fetches."""
    ann = phone()
    job = ann.new_job()
    ann.choose("vehicle.refrigerant", "R134a")
    ann.wait_saved()
    ann.wait_kept()
    ann.cut_off = True
    ann.context.set_offline(True)
    fetched = "fetch(location.href).then(answer => answer.status, () => 'no connection')"
    # Not once: Chromium passes the first tries of a page that has just gone offline by its worker.
    assert [ann.page.evaluate(fetched) for _ in range(5)] == ["no connection"] * 5
    ann.page.goto(job)
    ann.page.wait_for_selector("#job")
