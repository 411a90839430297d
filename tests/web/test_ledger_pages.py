"""The ledger's pages and API: who may do what, what is refused and said, and that nothing typed is run."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
import zxingcpp
from knocking import Browser, Place, words
from PIL import Image

from loopwright.api.ledger import Ledger, check_export
from loopwright.web.books import weighed

HOSTILE = '<script>alert("x")</script>'
KEY = "11111111-1111-4111-8111-111111111111"
READS = ["/ledger", "/ledger/account?name=New+1", "/ledger/reconcile", "/ledger/labels?name=New+1", "/ledger/verify",
         "/ledger/label.svg?name=New+1", "/ledger/label.png?name=New+1"]  # fmt: skip
POSTS = ["/ledger/move", "/ledger/weigh?name=New+1", "/ledger/reverse?entry=8"]
OWNS = ["/ledger/open", "/ledger/open?kind=cylinder", "/ledger/amend?name=New+1", "/ledger/export", "/ledger/operators",
        "/ledger/records?law=us_federal", "/ledger/export/chain.jsonl", "/ledger/export/movements.csv",
        "/ledger/export/movements.json", "/ledger/records.csv?law=us_federal&table=sent"]  # fmt: skip


def stocked(place: Place) -> Ledger:
    ledger = Ledger(place.shop.engine, by="Ann")
    ledger.start()
    ledger.open("Supplier", "supplier", title=HOSTILE)
    ledger.open_cylinder("New 1", "R134a", "virgin", tare_mg=5_000_000, water_capacity_mg=12_000_000)
    ledger.open("Hoses A/1", "hoses", refrigerant="R134a")
    ledger.open("Van", "vehicle", refrigerant="R134a")
    entry = ledger.move("Supplier", "New 1", mass_mg=9_000_000, uncertainty_mg=9_000, note=HOSTILE)
    assert entry == 8
    return ledger


@pytest.fixture
def here(place: Callable[..., Place]) -> tuple[Browser, Ledger]:
    made = place()
    return Browser(made), stocked(made)


def moved(browser: Browser, **fields: str) -> Any:
    sent = {"source": "New 1", "target": "Van", "mass": "500", "u.mass": "g", "method": "scale", "key": KEY}
    return browser.post("/ledger/move", **{**sent, **fields})


# --- looking


@pytest.mark.parametrize("path", [*READS, *POSTS, *OWNS])
def test_every_page_is_there(here: tuple[Browser, Ledger], path: str) -> None:
    answer = here[0].get(path)
    assert answer.status_code == 200, path
    if "html" in answer.headers["content-type"]:
        assert HOSTILE not in answer.text


def test_the_stock_is_shown_with_its_uncertainty_and_fill(here: tuple[Browser, Ledger]) -> None:
    said = words(here[0].get("/ledger").text)
    assert "9.000 ± 0.009 kg" in said
    limit = here[1].account("New 1").cylinder
    assert limit is not None
    assert limit.fill_limit_mg is not None
    assert f"9.000 kg of {limit.fill_limit_mg / 1e6:.3f} kg, {round(9e8 / limit.fill_limit_mg)} %" in said


def test_a_cylinder_that_is_overdue_or_never_refilled_says_so(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    ledger.open_cylinder(
        "Old", "R134a", "virgin", tare_mg=5_000_000, water_capacity_mg=12_000_000, type="disposable",
        requalification_due="2020-01-31",
    )  # fmt: skip
    said = words(browser.get("/ledger/account?name=Old").text)
    assert "Disposable: never refill it." in said
    assert "Overdue: it must be tested before it is filled again." in said


def test_history_has_pages(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    for i in range(35):
        ledger.move("New 1", "Van", mass_mg=1000 + i, uncertainty_mg=10)
    text = browser.get("/ledger/account?name=New+1").text
    older = re.search(r"before=(\d+)", text)
    assert older
    second = browser.get(f"/ledger/account?name=New+1&before={older[1]}").text
    assert text.count('class="line-act"') == 30
    assert second.count('class="line-act"') == 6
    assert "from Supplier" in words(second)


def test_vehicles_are_found_by_their_words(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    ledger.open("Vehicle 12", "vehicle", refrigerant="R134a", title="Bakery van")
    said = words(browser.get("/ledger?vehicle=bakery").text)
    assert "Vehicle 12" in said
    assert "None of that name." in words(browser.get("/ledger?vehicle=nothing").text)


@pytest.mark.parametrize(
    "path",
    [
        "/ledger/account?name=None",
        "/ledger/weigh?name=None",
        "/ledger/amend?name=None",
        "/ledger/label.svg?name=None",
        "/ledger/reverse?entry=1",
        "/ledger/reverse?entry=99",
        "/ledger/reverse?entry=99999999999999999999",
    ],
)
def test_what_is_not_there_is_not_found(here: tuple[Browser, Ledger], path: str) -> None:
    assert here[0].get(path).status_code == 404


# --- roles


@pytest.mark.parametrize(
    ("person", "may", "may_not"),
    [
        ("Tia", READS, POSTS + OWNS),
        ("Ted", READS + POSTS, OWNS),
        ("Tom", READS + POSTS, OWNS),
        ("Olga", READS + POSTS + OWNS, []),
    ],
)  # fmt: skip
def test_roles(place: Callable[..., Place], person: str, may: list[str], may_not: list[str]) -> None:
    made = place("0.0.0.0")
    made.found()
    stocked(made)
    browser = Browser(made, signed_in=person)
    assert {path: browser.get(path).status_code for path in may} == dict.fromkeys(may, 200)
    assert {path: browser.get(path).status_code for path in may_not} == dict.fromkeys(may_not, 403)


def test_a_trainee_only_looks(place: Callable[..., Place]) -> None:
    made = place("0.0.0.0")
    made.found()
    ledger = stocked(made)
    browser = Browser(made, signed_in="Tia")
    before = ledger.head()
    for path in ("/ledger/move", "/ledger/weigh?name=New+1", "/ledger/reverse?entry=8", "/ledger/open?kind=hoses",
                 "/ledger/amend?name=New+1", "/ledger/operators", "/ledger/verify"):  # fmt: skip
        assert browser.post(path, page="/ledger", key=KEY, mass="1").status_code == 403, path
    text = browser.get("/ledger/account?name=New+1").text
    assert "Take back" not in text
    assert "/ledger/move" not in text
    assert ledger.head() == before


def test_strangers_see_nothing(place: Callable[..., Place]) -> None:
    made = place("0.0.0.0")
    assert Browser(made).get("/ledger").status_code == 303
    assert Browser(made).client.get("/api/v1/ledger/accounts").status_code == 401


def test_a_forged_form_moves_nothing(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    before = ledger.head()
    for csrf in ("", "forged"):
        answer = browser.post(
            "/ledger/move", csrf=csrf, source="New 1", target="Van", mass="500", method="scale", key=KEY
        )
        assert answer.status_code == 403
    assert ledger.head() == before


# --- booking


def test_a_movement_is_booked_once_however_often_it_is_sent(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    answer = moved(browser, job="12", note="by hand")
    assert (answer.status_code, answer.headers["location"]) == (303, "/ledger/account?name=Van")
    assert moved(browser).status_code == 303
    assert ledger.holdings("Van")["R134a"].mass_mg == 500_000
    line = ledger.history("Van", 1)[0]
    assert (line.entry.by, line.entry.job, line.entry.note) == ("Owner", "12", "by hand")


def test_units_and_limits_are_taken_as_typed(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    moved(browser, **{"mass": "1", "u.mass": "lb", "limit": "1", "u.limit": "oz"})
    assert ledger.holdings("Van")["R134a"].mass_mg == 453_592  # the pound of 1959
    # One ounce either way, all of it alike likely: divided by the square root of three (JCGM 100:2008, 4.3.7).
    assert ledger.holdings("Van")["R134a"].variance_mg2 == round(28_350 / 3**0.5) ** 2


def test_what_is_wrong_stands_in_place_and_keeps_what_was_typed(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    answer = moved(browser, mass="much", source="")
    assert answer.status_code == 422
    assert '<a href="#source">From: Missing.</a>' in answer.text
    answer = moved(browser, mass=HOSTILE)
    assert '<a href="#mass">Mass: Not a number.</a>' in answer.text
    assert 'value="&lt;script&gt;' in answer.text
    assert HOSTILE not in answer.text
    assert f'name="key" value="{KEY}"' in answer.text
    assert ledger.head().seq == 8


def test_an_overfilled_cylinder_needs_its_reason(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    answer = moved(browser, source="Supplier", target="New 1", mass="5000")
    assert answer.status_code == 422
    assert "It would be overfilled" in words(answer.text)
    reason = {"deviation": "found so; emptied at once"}
    assert moved(browser, source="Supplier", target="New 1", mass="5000", **reason).status_code == 303
    assert "beyond its limit" in words(browser.get("/ledger").text)
    assert "found so" in words(browser.get("/ledger/account?name=New+1").text)
    assert ledger.verify().sound


def test_what_came_with_a_vehicle_is_booked_with_it(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    ledger.open_cylinder("Out", "R134a", "recovered", tare_mg=5_000_000, water_capacity_mg=12_000_000)
    assert moved(browser, source="Van", target="Out", mass="420", method="machine").status_code == 303
    assert ledger.holdings("outside")["R134a"].mass_mg == -420_000


def test_a_weighing_is_set_against_the_books(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    path = "/ledger/weigh?name=New+1"
    answer = browser.post(path, **{"mass": "13.9", "u.mass": "kg", "against": "", "key": KEY})
    said = words(answer.text)
    assert "The scale and the books differ" in said
    assert "Difference -100.0 ±" in said
    assert ledger.holdings("New 1")["R134a"].mass_mg == 9_000_000  # recorded only
    assert browser.post(path, **{"mass": "13.9", "u.mass": "kg", "against": "", "key": KEY}).status_code == 303
    assert "Last weighed:" in browser.get("/ledger/account?name=New+1").text
    assert "One account lies beyond its uncertainty" in words(browser.get("/ledger/reconcile").text)
    booked = {"mass": "13.9", "u.mass": "kg", "against": "unexplained", "key": KEY.replace("1", "2")}
    assert browser.post(path, **booked).status_code == 200
    assert ledger.holdings("unexplained")["R134a"].mass_mg == 100_000
    assert "No weighing lies beyond its uncertainty." in words(browser.get("/ledger/reconcile").text)


def test_an_entry_is_taken_back_with_its_reason_once(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    assert browser.post("/ledger/reverse?entry=8", note="", key=KEY).status_code == 422
    first = browser.post("/ledger/reverse?entry=8", note="typed twice", key=KEY)
    assert (first.status_code, first.headers["location"]) == (303, "/ledger/account?name=New%201")
    assert ledger.holdings("New 1")["R134a"].mass_mg == 0
    again = browser.post("/ledger/reverse?entry=8", note="typed twice", key=KEY.replace("1", "3"))
    assert again.status_code == 422
    assert "taken back" in words(browser.get("/ledger/account?name=New+1").text)


# --- accounts


def test_accounts_are_opened_by_what_is_stamped(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    sent = {"name": "Bay 2/X", "refrigerant": "r-1234YF", "state": "virgin", "type": "refillable", "tare": "5.4",
            "u.tare": "kg", "water_capacity": "12", "u.water_capacity": "kg", "key": KEY}  # fmt: skip
    answer = browser.post("/ledger/open?kind=cylinder", **sent)
    assert (answer.status_code, answer.headers["location"]) == (303, "/ledger/account?name=Bay%202/X")
    account = ledger.account("Bay 2/X")
    assert account.cylinder is not None
    assert (account.refrigerant, account.cylinder.tare_mg) == ("R1234yf", 5_400_000)
    assert browser.get(answer.headers["location"]).status_code == 200
    taken = browser.post("/ledger/open?kind=cylinder", **{**sent, "key": KEY.replace("1", "4")})
    assert "There is an account of that name." in words(taken.text)


@pytest.mark.parametrize("kind", ["machine", "hoses", "supplier", "reclaimer", "destruction"])
def test_every_kind_can_be_opened(here: tuple[Browser, Ledger], kind: str) -> None:
    browser, ledger = here
    fields = {
        "name": f"My {kind}",
        "title": HOSTILE,
        "refrigerant": "R134a",
        "state": "recycled",
        "make": "Own",
        "key": KEY,
    }
    assert browser.post(f"/ledger/open?kind={kind}", **fields).status_code == 303
    assert ledger.account(f"My {kind}").kind == kind
    assert HOSTILE not in browser.get(f"/ledger/account?name=My+{kind}").text


def test_what_is_missing_for_a_cylinder_is_said_together(here: tuple[Browser, Ledger]) -> None:
    answer = here[0].post("/ledger/open?kind=cylinder", name="X", key=KEY)
    assert '<a href="#tare">Tare: Missing.</a>' in answer.text
    assert '<a href="#water_capacity">Water capacity: Missing.</a>' in answer.text


def test_an_account_is_changed_by_a_numbered_entry(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    sent = {"title": "", "address": "", "state": "virgin", "requalification_due": "2031-05-01", "note": "tested"}
    assert browser.post("/ledger/amend?name=New+1", **sent).status_code == 303
    changed = ledger.account("New 1").cylinder
    assert changed is not None
    assert changed.requalification_due == "2031-05-01"
    full = browser.post("/ledger/amend?name=New+1", **{**sent, "closed": "yes"})
    assert full.status_code == 422
    assert "It is not empty." in words(full.text)


# --- labels, verification, export


def test_a_label_can_be_read_by_a_phone(here: tuple[Browser, Ledger], tmp_path: Path) -> None:
    answer = here[0].get("/ledger/label.png?name=" + quote("Hoses A/1"))
    picture = Image.open(io.BytesIO(answer.content))
    assert [found.text for found in zxingcpp.read_barcodes(picture)] == ["loopwright:account/Hoses%20A%2F1"]
    svg = here[0].get("/ledger/label.svg?name=New+1")
    assert svg.headers["content-security-policy"] == "default-src 'none'; sandbox"


def test_a_sheet_shows_the_labels_that_were_chosen(here: tuple[Browser, Ledger]) -> None:
    text = here[0].get("/ledger/labels?name=New+1&name=Nobody").text
    assert text.count("<img") == 1
    assert "90 mm by 50 mm" in text


def test_verification_holds_the_ledger_to_a_receipt(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    head = ledger.head()
    good = browser.post("/ledger/verify", receipt=f"{head.seq}:{head.hash}")
    assert "Sound: 8 entries" in words(good.text)
    false = browser.post("/ledger/verify", receipt=f"{head.seq}:{'0' * 64}")
    assert "NOT sound" in words(false.text)
    assert browser.post("/ledger/verify", receipt="mine").status_code == 422


def test_what_was_changed_behind_its_back_is_found(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    with ledger._journal.engine.begin() as connection:
        for (trigger,) in connection.exec_driver_sql("select name from sqlite_master where type = 'trigger'").all():
            connection.exec_driver_sql(f"drop trigger {trigger}")
        connection.exec_driver_sql("update ledger_leg set balance_mg = balance_mg + 1 where account = 'New 1'")
    assert "NOT sound" in words(browser.post("/ledger/verify", receipt="").text)


def test_the_chain_that_is_handed_out_verifies(here: tuple[Browser, Ledger]) -> None:
    lines = here[0].get("/ledger/export/chain.jsonl").text.splitlines()
    assert check_export(lines).sound
    assert len(lines) == 8


def test_a_table_runs_no_formula(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    ledger.move("New 1", "Van", mass_mg=1000, uncertainty_mg=10, note="=HYPERLINK(1)")
    text = browser.get("/ledger/export/movements.csv").content.decode("utf-8-sig")
    assert "'=HYPERLINK(1)" in {row["note"] for row in csv.DictReader(io.StringIO(text))}
    assert len(json.loads(browser.get("/ledger/export/movements.json").text)) == 4


def test_the_law_is_told_with_how_sure_we_are(here: tuple[Browser, Ledger]) -> None:
    browser, _ = here
    said = words(browser.get("/ledger/export").text)
    assert "40 CFR 82.42(b)" in said
    assert "at least 3 years" in said
    assert "from memory, not read" in said
    answer = words(browser.get("/ledger/records?law=us_federal").text)
    assert "The operator Ann has no certificate, no proof in the ledger." in answer
    assert browser.get("/ledger/records?law=atlantis").status_code == 422
    assert browser.get("/ledger/export?since=yesterday").status_code == 422
    assert browser.get("/ledger/records.csv?law=us_federal&table=secrets").status_code == 422


def test_who_may_handle_it_is_registered(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    assert browser.post("/ledger/operators", operator="").status_code == 422
    sent = {"operator": "Ann", "certificate": "A-1", "proof": HOSTILE, "issued": "2024-03-01"}
    assert browser.post("/ledger/operators", **sent).status_code == 303
    assert ledger.operators()["Ann"].certificate == "A-1"
    assert HOSTILE not in browser.get("/ledger/operators").text


# --- the API


def test_the_api_of_the_ledger(here: tuple[Browser, Ledger]) -> None:
    browser, ledger = here
    client = browser.client
    names = [one["name"] for one in client.get("/api/v1/ledger/accounts?kind=cylinder").json()]
    assert names == ["New 1"]
    held = client.get("/api/v1/ledger/accounts/Hoses%20A/1").json()
    assert (held["kind"], held["held"]) == ("hoses", [])
    sent = {"source": "New 1", "target": "Van", "mass_mg": 500_000, "uncertainty_mg": 9000, "key": KEY}
    first = client.post("/api/v1/ledger/movements", json=sent)
    assert (first.status_code, first.json()) == (201, {"entry": 9})
    assert client.post("/api/v1/ledger/movements", json=sent).json() == {"entry": 9}
    assert client.get("/api/v1/ledger/lines?account=Van").json()[0]["mass_mg"] == 500_000
    weighing = {"account": "New 1", "gross_mg": 13_400_000, "uncertainty_mg": 9000, "key": KEY.replace("1", "2")}
    assert client.post("/api/v1/ledger/weighings", json=weighing).json()["unexplained_mg"] == -100_000
    assert client.get("/api/v1/ledger/reconciliation").json()[0]["within"] is False
    back = client.post("/api/v1/ledger/entries/9/reversal", json={"why": "typed twice", "key": KEY.replace("1", "3")})
    assert back.status_code == 201
    assert ledger.holdings("Van")["R134a"].mass_mg == 0


def test_the_api_refuses_with_problem_documents(here: tuple[Browser, Ledger]) -> None:
    client = here[0].client
    sent = {"source": "Van", "target": "New 1", "mass_mg": 500_000, "uncertainty_mg": 9000, "key": KEY}
    answer = client.post("/api/v1/ledger/movements", json=sent)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["problems"][0]["says"]
    assert client.post("/api/v1/ledger/movements", json={**sent, "mass_mg": -1}).status_code == 422
    assert client.get("/api/v1/ledger/accounts/Nobody").status_code == 404
    assert client.get("/api/v1/ledger/lines?account=Nobody").status_code == 404


def test_the_api_keeps_the_roles(place: Callable[..., Place]) -> None:
    made = place("0.0.0.0")
    people = made.found()
    stocked(made)
    token = made.people.make_token(people["Tia"], "reader")
    client = Browser(made).client
    headers = {"authorization": f"Bearer {token}"}
    assert client.get("/api/v1/ledger/accounts", headers=headers).status_code == 200
    sent = {"source": "New 1", "target": "Van", "mass_mg": 5, "uncertainty_mg": 1, "key": KEY}
    assert client.post("/api/v1/ledger/movements", json=sent, headers=headers).status_code == 403


def test_masses_are_written_in_the_persons_unit() -> None:
    assert weighed(453_592, "lb") == "1.000 lb"
    assert weighed(-420_000, "g", 17_000) == "-420.0 ± 17.0 g"
