"""Calculations as pages and as an API: a result has an address, what is wrong stands in place, sources are named."""

from __future__ import annotations

import html
import re
from collections.abc import Callable

import pytest
from knocking import Browser, Place, words

from loopwright.api.service import CALCULATORS, calculator_form
from loopwright.api.service_text import sheet_text
from loopwright.web.pages.calculators.show import joined

HOSE = (
    "/calculators/hose?refrigerant=R-134a&bore=4.8&u.bore=mm&length=1.8&u.length=m&temperature=77&u.temperature=%C2%B0F"
)


def _kinds(text: str, name: str) -> bool:
    return re.search(rf'\bname="{re.escape(name)}"', text) is not None


@pytest.mark.parametrize("name", CALCULATORS)
def test_every_calculation_asks_all_its_fields(place: Callable[..., Place], name: str) -> None:
    text = Browser(place()).get(f"/calculators/{name}").text
    for field in calculator_form(name).fields:
        assert _kinds(text, field.name), field.name
        assert field.help in html.unescape(text)


def test_the_list_leads_to_every_calculation(place: Callable[..., Place]) -> None:
    text = Browser(place()).get("/calculators").text
    for name in CALCULATORS:
        assert f'href="/calculators/{name}"' in text


def test_a_result_has_an_address_and_names_its_sources(place: Callable[..., Place]) -> None:
    answer = Browser(place()).get(HOSE)
    said = words(answer.text)
    assert answer.status_code == 200
    # 32.6 mL of liquid at 25 °C and 1207 kg/m3: as `loopwright service hose` prints it.
    assert "Trapped in hose and manifold 39.3 ± 2.1 g" in said
    assert "FROM MEMORY, not read" in said
    assert "Close the coupler valves first" in said
    assert 'value="77"' in answer.text
    assert "<option selected>°F</option>" in answer.text


def test_the_text_to_take_away_is_what_is_printed(place: Callable[..., Place]) -> None:
    from loopwright.api.service import calculate

    answer = Browser(place()).get(HOSE.replace("/hose?", "/hose.txt?"))
    given = {"refrigerant": "R-134a", "bore": "4.8 mm", "length": "1.8 m", "temperature": "77 °F"}
    assert answer.text == sheet_text(calculate("hose", given))
    assert "attachment" in answer.headers["content-disposition"]


def test_errors_stand_in_place_and_on_top_with_what_was_typed(place: Callable[..., Place]) -> None:
    answer = Browser(place()).get("/calculators/hose?refrigerant=R134a&bore=wide&length=1.8")
    assert answer.status_code == 422
    assert '<a href="#bore">Bore: Not a number.</a>' in answer.text
    assert '<a href="#temperature">Temperature: Missing.</a>' in answer.text
    assert re.search(r'id="bore"[^>]*value="wide"[^>]*aria-invalid="true"', answer.text)
    assert "result-title" not in answer.text


def test_nothing_is_wrong_before_anything_was_typed(place: Callable[..., Place]) -> None:
    answer = Browser(place()).get("/calculators/hose")
    assert answer.status_code == 200
    assert 'class="problems"' not in answer.text


def test_what_is_typed_is_shown_and_never_run(place: Callable[..., Place]) -> None:
    text = Browser(place()).get('/calculators/hose?refrigerant="><script>alert(1)</script>&bore=<b>').text
    assert "<script>alert" not in text
    assert "<b>" not in re.sub(r"<b>[^<]*</b>", "", text)


@pytest.mark.parametrize("name", ["nothing", "..%2Fpeople", "HOSE", "x" * 41])
def test_what_is_no_calculation_is_not_found(place: Callable[..., Place], name: str) -> None:
    assert Browser(place()).get(f"/calculators/{name}").status_code == 404


def test_a_job_fills_in_what_it_knows(place: Callable[..., Place]) -> None:
    made = place()
    job = made.shop.open_job("Ann")
    made.shop.write(job, "Ann", {"vehicle.refrigerant": "R134a", "vehicle.charge": "500"})
    answer = Browser(made).get(f"/calculators/charge?job={job}")
    assert answer.status_code == 200
    assert 'name="label" value="500 g"' in answer.text
    assert "result-title" in answer.text  # all that is needed is known: the sheet is there without a further tap
    assert Browser(made).get("/calculators/charge?job=nowhere").status_code == 404


def test_a_series_is_taken_as_typed(place: Callable[..., Place]) -> None:
    rising = "s,Pa\n" + "\n".join(f"{t},{100 + 0.01 * t}" for t in range(0, 600, 10))
    answer = Browser(place()).client.get(
        "/calculators/rise",
        params={"readings": rising, "coldest": "20", "noise": "1", "u.coldest": "°C", "u.noise": "Pa"},
    )
    assert answer.status_code == 200
    assert "60 readings" in words(answer.text)


def test_a_text_never_names_a_file(place: Callable[..., Place], tmp_path: object) -> None:
    answer = Browser(place()).get("/calculators/rise?readings=/etc/passwd&coldest=20&noise=1")
    assert answer.status_code == 422
    assert "root:" not in answer.text


def test_units_join_what_carries_none() -> None:
    assert joined("25 ± 0.5", "°C") == "25 ± 0.5 °C"
    assert joined("25 °F", "°C") == "25 °F"
    assert joined("", "°C") == ""
    assert joined("-20", "inHg") == "-20 inHg"


def test_pages_speak_the_persons_units(place: Callable[..., Place]) -> None:
    text = Browser(place()).get("/calculators/foreign-gas").text
    # The first to use the shop on this machine has psi and °F, as most of the trade's gauges in its first market do.
    assert re.search(r'name="u.pressure"[^>]*>\s*<option selected>psi<', text)


def test_the_api_lists_describes_and_works_out(place: Callable[..., Place]) -> None:
    client = Browser(place()).client
    assert [one["calculation"] for one in client.get("/api/v1/calculators").json()] == list(CALCULATORS)
    form = client.get("/api/v1/calculators/co2e").json()
    assert form["fields"][1]["units"] == ["g", "kg", "lb", "oz"]
    given = {"refrigerant": "R134a", "mass": "550 g", "report": "AR5"}
    client.cookies.clear()
    sheet = client.post("/api/v1/calculators/co2e", json={"answers": given})
    assert sheet.status_code == 200
    # 0.55 kg at 1300 (IPCC AR5, as the card of GWPs has it) is 715 kg.
    assert sheet.json()["results"][0]["value"] == pytest.approx(715.0)


def test_the_api_names_every_problem_by_its_field(place: Callable[..., Place]) -> None:
    client = Browser(place()).client
    answer = client.post("/api/v1/calculators/co2e", json={"answers": {"refrigerant": "R999", "mass": "much"}})
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert {"mass", "report"} <= {problem["field"] for problem in answer.json()["problems"]}
    assert client.post("/api/v1/calculators/nothing", json={"answers": {}}).status_code == 404


def test_strangers_of_a_network_see_no_calculation(place: Callable[..., Place]) -> None:
    made = place("0.0.0.0")
    assert Browser(made).get("/calculators").status_code == 303
    assert Browser(made).client.get("/api/v1/calculators").status_code == 401
