"""The service of a job on a phone: its order without a network too, timers through a reload, grams into the ledger."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from phone import Phone, Served

from loopwright.api.ledger import Ledger
from loopwright.api.service_job import replay
from loopwright.api.shop import Shop
from loopwright.service.procedure import derive

Phones = Callable[..., Phone]
SENT = "Object.keys(localStorage).every(key => !key.startsWith('lw.out.') && !key.startsWith('lw.move.'))"


class Bay:
    """A phone at the service page of a new job."""

    def __init__(self, phone: Phone, served: Served) -> None:
        self.phone, self.page, self.served = phone, phone.page, served
        self.job = phone.new_job()
        phone.choose("vehicle.refrigerant", "R134a")
        phone.choose("vehicle.compressor", "fixed")
        phone.wait_saved()
        self.page.goto(f"{self.job}/service")

    def choose(self, name: str, value: str) -> None:
        self.phone.tap(self.page.locator(f'label:has(input[name="{name}"][value="{value}"])'))

    def type(self, name: str, text: str) -> None:
        self.page.locator(f'[name="{name}"]').fill(text)
        self.page.keyboard.press("Tab")

    def open(self) -> None:
        self.choose("machine_refrigerant", "R134a")
        self.type("charge", "500 g")
        self.phone.tap(self.page.locator("#opening button"))
        self.page.wait_for_selector("#step-identify")

    def begin(self, step: str) -> None:
        self.phone.tap(self.page.locator(f"#step-{step} .on-ready [data-begin]"))

    def finish(self, step: str) -> None:
        self.phone.tap(self.page.locator(f'[data-finish="{step}"]'))

    def status(self, step: str) -> str:
        return str(self.page.locator(f"#step-{step}").get_attribute("data-status"))

    def refusal(self, step: str) -> str:
        return str(self.page.locator(f"#refusal-{step}").inner_text())

    def identify(self, found: str = "R134a") -> None:
        self.begin("identify")
        self.type("identify-refrigerant_found", found)
        self.type("identify-purity", "99.5")
        self.finish("identify")

    def state(self) -> Any:
        shop = Shop(self.served.database)
        kept = replay(shop.job(self.job.rpartition("/")[2]).state.service)
        shop.close()
        assert not kept.left_out
        return derive(kept.events)


@pytest.fixture
def bay(phone: Phones, served: Served) -> Bay:
    return Bay(phone(), served)


def test_another_refrigerant_is_refused_without_a_network(bay: Bay) -> None:
    bay.open()
    bay.phone.wait_kept()
    bay.phone.cut_off = True
    bay.phone.context.set_offline(True)
    bay.identify("R1234yf")
    assert "never mix" in bay.refusal("identify")
    assert "No reason excuses this." in bay.refusal("identify")
    assert bay.status("identify") == "open"
    assert bay.status("recover") == "waiting"
    bay.type("identify-refrigerant_found", "R134a")
    bay.finish("identify")
    assert bay.status("identify") == "done"
    assert bay.status("recover") == "ready"
    bay.phone.context.set_offline(False)
    bay.phone.until(SENT)
    bay.phone.cut_off = False
    assert bay.state().of("identify").status == "done"


def test_a_timer_runs_on_through_a_reload_without_a_network(bay: Bay) -> None:
    bay.open()
    bay.identify()
    bay.phone.until(SENT)
    bay.phone.wait_kept()
    bay.page.clock.install()
    bay.page.reload()
    bay.phone.wait_kept()
    bay.phone.cut_off = True
    bay.phone.context.set_offline(True)
    bay.begin("recover")
    bay.type("recover-recovered_mass", "420")
    bay.choose("recover-machine_off", "yes")
    bay.page.clock.fast_forward(120_000)
    clock = bay.page.locator("#timer-recover .clock")
    assert clock.inner_text().startswith(("2:", "3:0"))
    bay.page.reload()
    bay.type("recover-pressure_after_wait", "-20")
    bay.page.locator('[name="u.recover-pressure_after_wait"]').select_option("inHg")
    bay.finish("recover")
    assert "5 min with the machine off" in bay.refusal("recover")
    bay.page.clock.fast_forward(200_000)
    assert "The time is over." in clock.inner_text()
    bay.finish("recover")
    assert bay.status("recover") == "done"
    assert bay.status("repair") == bay.status("oil") == "ready"
    assert bay.page.locator("#step-recover").get_attribute("data-pending")


def test_what_the_shop_has_is_not_written_down_again(bay: Bay) -> None:
    """Writing "machine off" again would begin the wait anew."""
    bay.open()
    bay.identify()
    bay.begin("recover")
    bay.type("recover-recovered_mass", "1 lb 5 oz")
    bay.choose("recover-machine_off", "yes")
    bay.phone.until(SENT)
    bay.page.reload()
    before = bay.page.locator("#timer-recover").get_attribute("data-since")
    assert before
    bay.finish("recover")
    assert "Not written down: Pressure after wait." in bay.refusal("recover")
    assert bay.page.locator("#timer-recover").get_attribute("data-since") == before
    assert bay.phone.waiting() == []


def test_a_deviation_with_its_reason(bay: Bay) -> None:
    bay.open()
    bay.identify()
    bay.phone.until(SENT)
    bay.phone.tap(bay.page.locator("#otherwise-recover > summary"))
    over = bay.page.locator('[data-deviate="recover"]')
    over.click()
    assert "A deviation needs its reason." in bay.refusal("recover")
    bay.page.locator("#reason-recover").fill("it came empty, the hose had burst")
    over.click()
    assert "Tick that you have read what it can do." in bay.refusal("recover")
    bay.page.locator('label[for="accept-recover"]').click()
    over.click()
    assert bay.status("recover") == "deviated"
    bay.phone.until(SENT)
    assert bay.state().deviations[0].accepts == "vent"


def test_what_is_recovered_is_booked_when_the_network_is_back(bay: Bay) -> None:
    bay.open()
    bay.identify()
    bay.begin("recover")
    bay.phone.until(SENT)
    bay.phone.wait_kept()
    bay.phone.cut_off = True
    bay.phone.context.set_offline(True)
    form = bay.page.locator("#book-recover")
    form.locator('[name="target"]').select_option("C-04")
    form.locator('[name="mass"]').fill("420 g")
    bay.phone.tap(form.locator(".acts button"))
    assert "kept here, not yet sent" in form.inner_text()
    bay.phone.context.set_offline(False)
    bay.phone.until(SENT)
    bay.phone.cut_off = False
    bay.page.wait_for_selector("#step-recover .booked")
    assert "420.0 g, the vehicle to C-04" in bay.page.locator("#step-recover .booked").inner_text()
    ledger = Ledger(bay.served.database, by="test")
    assert ledger.history("C-04", 1)[0].mass_mg == 420_000
    ledger.close()


def test_two_phones_at_one_service(bay: Bay, phone: Phones) -> None:
    bay.open()
    other = phone()
    other.page.goto(f"{bay.job}/service")
    bay.identify()
    other.page.wait_for_selector('#step-recover[data-status="ready"]')


def test_the_keyboard_is_enough(phone: Phones, served: Served) -> None:
    bay = Bay(phone(1280, 900, "dark"), served)
    bay.phone.tab_to('input[name="machine_refrigerant"]')
    bay.page.keyboard.press("Space")
    bay.phone.tab_to('[name="charge"]')
    bay.page.keyboard.type("500 g")
    bay.phone.tab_to("#opening button")
    bay.page.keyboard.press("Enter")
    bay.page.wait_for_selector("#step-identify")
    bay.phone.tab_to('[data-begin="identify"]')
    bay.page.keyboard.press("Enter")
    bay.page.wait_for_selector('#step-identify[data-status="open"]')
