"""Nothing typed is lost: without a network, over a reload, when the page or the shop dies."""

from __future__ import annotations

from collections.abc import Callable

from phone import Phone, Served
from test_whole_job import kept

Phones = Callable[..., Phone]


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
