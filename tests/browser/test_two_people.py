"""A phone that goes from hand to hand on a network: nobody sees, or sends as their own, what another left on it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from phone import Phone, Served

from loopwright.api.people import People
from loopwright.api.shop import Shop

PASSWORD = "cold plate, warm hose"


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory, chromium: Any) -> Iterator[Served]:
    """A shop that others can reach, with a trainee and a technician."""
    database = tmp_path_factory.mktemp("network") / "shop.sqlite"
    shop = Shop(database)
    people = People(shop.engine)
    owner = people.join(str(people.setup_link()), "Olga", PASSWORD)
    assert owner is not None
    for name, role in (("Tia", "trainee"), ("Ted", "technician")):
        assert people.join(people.invite(owner, role), name, PASSWORD)
    shop.close()
    running = Served(database, "0.0.0.0")
    yield running
    running.kill()


def sign_in(phone: Phone, name: str) -> None:
    phone.page.goto("/login")
    phone.page.locator("[name=name]").fill(name)
    phone.page.locator("[name=password]").fill(PASSWORD)
    phone.page.locator("main button").first.click()
    phone.page.wait_for_url("**/")


def test_a_phone_handed_on_keeps_pages_and_entries_apart(network: Served, phone: Callable[..., Phone]) -> None:
    one = phone(at=network.address)
    sign_in(one, "Tia")
    job = one.new_job()
    one.open_stage("standing")
    one.type("before.air_temperature", "88")
    one.wait_saved()
    one.wait_kept()
    one.cut_off = True
    one.context.set_offline(True)
    one.type("before.relative_humidity", "45")
    one.enter()
    one.quiet("offline")
    one.context.route("**/entries", lambda route: route.abort())  # the sending still fails ...
    one.context.set_offline(False)
    one.page.goto("/settings")
    one.page.locator('form[action="/logout"] button').first.click()  # ... and Tia signs out
    one.page.wait_for_url("**/login*")
    assert one.until("caches.keys().then((names) => !names.includes('pages'))")
    one.context.unroute("**/entries")
    one.context.set_offline(True)
    one.page.goto(job)
    assert "No connection to the shop" in one.page.locator("h1").inner_text()  # not Tia's page
    one.context.set_offline(False)

    sign_in(one, "Ted")
    one.page.goto(job)
    one.open_stage("standing")
    one.page.wait_for_timeout(500)
    assert one.value("before.relative_humidity") == ""  # what Tia typed waits for Tia, and is not sent as Ted's
    assert len(one.waiting()) == 1
    one.page.goto("/settings")
    one.page.locator('form[action="/logout"] button').first.click()
    one.page.wait_for_url("**/login*")

    sign_in(one, "Tia")
    one.page.goto(job)
    one.wait_saved()
    one.page.goto(f"{job}/history")
    assert "45 %" in one.page.locator("main").inner_text()
    assert "Ted" not in one.page.locator("main").inner_text()
    one.cut_off = False


def test_signed_out_elsewhere_the_page_says_so_and_keeps_what_is_typed(
    network: Served, phone: Callable[..., Phone]
) -> None:
    one = phone(at=network.address)
    sign_in(one, "Tia")
    job = one.new_job()
    one.open_stage("standing")
    one.missing_is_expected = True
    one.context.clear_cookies()
    one.type("before.air_temperature", "88")
    one.enter()
    one.quiet("signin")
    assert len(one.waiting()) == 1
    other = one.context.new_page()  # signs in again in another tab
    first, one.page = one.page, other
    sign_in(one, "Tia")
    one.page = first
    one.wait_saved()
    assert one.value("before.air_temperature") == "88"
    one.page.reload()
    assert one.value("before.air_temperature") == "88"
    assert one.page.url.endswith(job)
