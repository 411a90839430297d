"""The page of a test: what was typed comes back as typed, what is wrong is said in its place, and nothing is lost."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from knocking import Browser, Place, token_in, words

from loopwright.api.shop import new_entry
from loopwright.language import speaking
from loopwright.web.pages.job.show import page_stages

HIGH = "before.running.high_side.pressure"
VALUES = {
    "vehicle.label": "Ice-cream van",
    "vehicle.refrigerant": "R134a",
    "vehicle.charge": "800 g",
    "vehicle.expansion": "orifice",
    "before.air_temperature": "88 °F",
    "before.relative_humidity": "45 %",
    "before.standing.low_side.pressure": "98 psi",
    "before.running.low_side.pressure": "23 psi",
    "before.running.high_side.pressure": "145 psi",
    "before.running.vent_center.temperature": "59 °F",
}


def wrote(field: str, value: str) -> dict[str, Any]:
    return entry("wrote", {"field": field, "value": value})


def entry(kind: str, data: dict[str, Any]) -> dict[str, Any]:
    return {"id": uuid4().hex, "at": "2024-07-01T10:00:00Z", "kind": kind, "data": data}


class Page:
    """One job, open in one browser."""

    def __init__(self, browser: Browser, job: str = "") -> None:
        self.browser = browser
        browser.get("/settings")  # the first page gives the browser its key
        self.job = job or browser.post("/jobs", page="/settings").headers["location"].rpartition("/")[2]

    def send(self, *entries: dict[str, Any], token: str | None = None) -> Any:
        key = token_in(self.text()) if token is None else token
        headers = {"x-csrf-token": key, "accept": "application/json", "origin": self.browser.base}
        return self.browser.client.post(f"/jobs/{self.job}/entries", json={"entries": list(entries)}, headers=headers)

    def text(self, test: str = "before") -> str:
        answer = self.browser.get(f"/jobs/{self.job}?test={test}")
        assert answer.status_code == 200
        return str(answer.text)


@pytest.fixture
def page(place: Callable[..., Place]) -> Page:
    return Page(Browser(place()))


def test_an_empty_page_says_what_to_write_down_first(page: Page) -> None:
    text = page.text()
    assert "Write down first: Refrigerant, Outdoor air temperature." in words(text)
    assert "not known" in text
    assert text.count('<details class="stage"') == 8


def test_a_sheet_typed_field_by_field_is_judged_and_every_value_stands_as_typed(page: Page) -> None:
    for field, value in VALUES.items():
        assert page.send(wrote(field, value)).status_code == 200
    until = time.monotonic() + 60
    while "Does not perform" not in (text := page.text()) and time.monotonic() < until:
        time.sleep(0.3)
    said = words(text)
    assert "Does not perform for 88 °F and 45 % humidity" in said
    assert "short of refrigerant" in said
    for field, value in VALUES.items():
        if "pressure" in field or "temperature" in field:
            number, unit = value.split()
            assert f'data-field="{field}" data-unit="{unit}" value="{number}"' in text
    assert 'class="word-below">below' in text
    assert "Next check" in said
    assert "style=" not in text.replace("strip-", "")
    picture = page.browser.get(f"/jobs/{page.job}/before/plane.svg?w=390&theme=dark")
    assert picture.status_code == 200
    assert picture.headers["content-type"].startswith("image/svg+xml")


def test_a_value_that_cannot_be_read_is_kept_as_typed_and_the_rest_goes_on(page: Page) -> None:
    page.send(*(wrote(field, value) for field, value in VALUES.items()))
    page.send(wrote("before.running.low_side.pressure", "about thirty"))
    text = page.text()
    assert 'value="about thirty"' in text
    assert 'href="#f-before.running.low_side.pressure"' in text
    assert "Low side: Not a number." in words(text)
    assert 'value="145"' in text


def test_words_of_a_hostile_customer_stand_on_the_page_as_they_are(page: Page) -> None:
    script = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>"
    page.send(wrote("vehicle.label", script), wrote("vehicle.complaint", script), entry("noted", {"text": script}))
    page.send(
        wrote("before.air_temperature", script), entry("did", {"act": "hoses_off", "test": "before", "reason": script})
    )
    text = page.text()
    assert "<script>alert" not in text
    assert "<img src=x" not in text
    assert text.count("&lt;script&gt;alert(1)") >= 4


def test_the_same_entry_sent_twice_is_kept_once(page: Page) -> None:
    note = entry("noted", {"text": "compressor hums"})
    assert page.send(note).json()["entries"] == page.send(note).json()["entries"]
    assert page.text().count("compressor hums") == 1


def test_an_act_out_of_order_asks_why_and_keeps_the_reason(page: Page) -> None:
    page.send(entry("did", {"act": "hoses_off", "test": "before"}))
    assert "Done before: Coupler valves closed, both sides. Why?" in words(page.text())
    page.send(entry("did", {"act": "hoses_off", "test": "before", "reason": "valve seized"}))
    assert 'value="valve seized"' in page.text()


@pytest.mark.parametrize(
    "entries",
    [
        [{"id": "x"}],
        [entry("wrote", {"field": "vehicle.wheels", "value": "4"})],
        [entry("burned", {})],
        [{**entry("noted", {"text": "x"}), "id": "../../passwd"}],
        [entry("noted", {"text": "x"})] * 201,
    ],
)
def test_what_no_page_sends_is_refused_whole(page: Page, entries: list[dict[str, Any]]) -> None:
    answer = page.send(wrote("vehicle.label", "kept out"), *entries)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["problems"]
    assert "kept out" not in page.text()


def test_entries_need_the_page_s_token(page: Page) -> None:
    assert page.send(wrote("vehicle.label", "forged"), token="0" * 64).status_code == 403
    assert "forged" not in page.text()


def test_two_people_work_on_one_job(place: Callable[..., Place]) -> None:
    shop = place("0.0.0.0")
    shop.found()
    ted = Page(Browser(shop, signed_in="Ted"))
    tia = Page(Browser(shop, address="192.0.2.51", signed_in="Tia"), ted.job)
    ted.send(wrote("vehicle.label", "Fire engine"))
    tia.send(wrote("before.running.low_side.pressure", "29 psi"))
    assert "Fire engine" in tia.text()
    assert 'value="29"' in ted.text()
    by = {e.by for e in shop.shop.job(ted.job).entries}
    assert by == {"Ted", "Tia"}


def test_the_page_speaks_spanish_with_the_person_s_units(page: Page) -> None:
    person = page.browser.place.people.local_owner()
    wanted = {"language": "es", "pressure": "bar", "temperature": "°C"}
    page.browser.place.people.prefer(person, wanted)
    text = page.text()
    assert '<html lang="es"' in text
    assert 'data-unit="bar"' in text
    with speaking("es"):
        from loopwright.api.shop import stages
        from loopwright.language import say

        assert say(stages()["running"].title) in text


def test_a_job_that_is_not_there(page: Page) -> None:
    assert page.browser.get("/jobs/nothing").status_code == 404


def test_a_reading_stands_on_its_band_before_it_is_judged(page: Page) -> None:
    page.send(*(wrote(field, value) for field, value in VALUES.items()))
    until = time.monotonic() + 60
    while "Does not perform" not in page.text() and time.monotonic() < until:
        time.sleep(0.3)
    shop = page.browser.place.shop
    shop.records.enter(page.job, [new_entry("wrote", "Ann", "2024-07-01T10:00:00Z", field=HIGH, value="245 psi")])
    stages = page_stages(shop.job(page.job), shop.view(shop.job(page.job), "before"), "before", {"pressure": "psi"})
    high = next(entered for stage in stages for entered in stage.fields if entered.name == HIGH)
    assert (high.number, high.word) == ("245", "inside")
    assert not shop.view(shop.job(page.job), "before").fresh
