"""What reports carry at their head: an owner writes it, reports show it, and the record says who changed it."""

from __future__ import annotations

import io
from collections.abc import Callable

from knocking import Browser, Place, words
from pypdf import PdfReader


def test_an_owner_writes_it_and_the_report_shows_it(place: Callable[..., Place]) -> None:
    browser = Browser(place())
    browser.get("/settings")
    answer = browser.post(
        "/settings/shop",
        page="/settings",
        shop_name="Harbour <b>Garage</b>",
        address="1 Quay\r\nPort",
        phone="555 0101",
    )
    assert answer.status_code == 303
    assert "Harbour &lt;b&gt;Garage" in browser.get("/settings").text
    job = browser.post("/jobs", page="/settings").headers["location"].rpartition("/")[2]
    pdf = browser.get(f"/jobs/{job}/report.pdf")
    assert pdf.status_code == 200
    text = PdfReader(io.BytesIO(pdf.content)).pages[0].extract_text()
    assert "Harbour <b>Garage</b>" in text
    assert "555 0101" in text
    assert browser.place.people.audit()[0].what == "letterhead changed"


def test_a_name_too_long_is_said_in_its_place_and_kept_as_typed(place: Callable[..., Place]) -> None:
    browser = Browser(place())
    browser.get("/settings")
    answer = browser.post("/settings/shop", page="/settings", shop_name="G" * 81)
    assert answer.status_code == 422
    assert "Too long." in words(answer.text)
    assert 'id="shop_name-wrong"' in answer.text
    assert "G" * 81 in answer.text


def test_only_an_owner_may(place: Callable[..., Place]) -> None:
    shop = place("0.0.0.0")
    shop.found()
    tom = Browser(shop, signed_in="Tom")
    assert tom.post("/settings/shop", page="/settings", shop_name="Mine").status_code == 403
    assert "Name of the shop" not in tom.get("/settings").text
