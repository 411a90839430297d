"""What people and programs are told when something cannot be done, and the HTTP API's frame."""

from __future__ import annotations

import json
from typing import Any

import jsonschema
import pytest
from knocking import Browser, Place, words

import loopwright
from loopwright.api.wire import schema_out, to_wire

SHEET = {
    "schema": 1,
    "vehicle": {"refrigerant": "R134a", "expansion": "thermostatic", "storage": "receiver", "compressor": "fixed"},
    "weather": {"air_temperature_c": 30, "relative_humidity_pct": 40},
    "readings": [
        {"phase": "running", "point": "high_side", "quantity": "pressure", "value": "210 psi", "reference": "gauge"},
    ],
}


def test_a_person_gets_a_page_and_a_program_a_document(local: Browser) -> None:
    page = local.get("/nowhere")
    assert (page.status_code, page.headers["content-type"]) == (404, "text/html; charset=utf-8")
    assert "There is nothing here." in words(page.text)
    document = local.get("/api/v1/nowhere")
    assert document.headers["content-type"] == "application/problem+json"
    assert document.json() == {
        "type": "about:blank",
        "title": "Not Found",
        "status": 404,
        "detail": "There is nothing here.",
        "instance": "/api/v1/nowhere",
    }
    assert local.get("/nowhere", accept="application/problem+json").json()["status"] == 404


def test_a_sheet_that_cannot_be_used_names_every_problem(local: Browser) -> None:
    bare = Browser(local.place).client
    sheet = {**SHEET, "weather": {"air_temperature_c": "warm"}, "vehicle": {"refrigerant": "R999"}}
    answer = bare.post("/api/v1/judge", json=sheet)
    assert answer.status_code == 422
    found = answer.json()
    assert {problem["field"] for problem in found["problems"]} == {"weather.air_temperature_c", "vehicle.refrigerant"}
    assert all(set(problem) == {"field", "found", "allowed", "says", "line"} for problem in found["problems"])
    assert found["instance"] == "/api/v1/judge"
    with pytest.raises(loopwright.InputError) as same:
        loopwright.judge(sheet)
    assert [problem["says"] for problem in found["problems"]] == [problem.says for problem in same.value.problems]


def test_a_judgement_over_http_is_the_same_as_at_hand(local: Browser) -> None:
    at_hand = to_wire(loopwright.judge(SHEET, seed=3))  # first, for it may have to compile; the server waits a minute
    bare = Browser(local.place).client
    try:
        answer = bare.post("/api/v1/judge?seed=3", json=SHEET)
        spanish = bare.post("/api/v1/judge", json=SHEET, headers={"accept-language": "es"})
    finally:
        local.place.app.state.at_once.close()
    assert answer.status_code == 200, answer.text
    jsonschema.validate(answer.json(), schema_out())
    assert {**answer.json(), "seconds": 0} == {**json.loads(json.dumps(at_hand)), "seconds": 0}
    assert spanish.json()["reasons"] != answer.json()["reasons"]


@pytest.mark.parametrize(
    ("content", "status"),
    [
        (b"", 422),
        (b"[]", 422),
        (b"{", 422),
        (b"\xff\xfe", 422),
        (b"null", 422),
        (b'{"a": NaN}', 422),
        (b"[" * 5000, 400),
    ],
)
def test_malformed_bodies_are_the_senders_fault(local: Browser, content: bytes, status: int) -> None:
    bare = Browser(local.place).client
    answer = bare.post("/api/v1/judge", content=content, headers={"content-type": "application/json"})
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize("seed", ["-1", "x", str(2**40)])
def test_a_seed_out_of_range_is_refused(local: Browser, seed: str) -> None:
    answer = Browser(local.place).client.post(f"/api/v1/judge?seed={seed}", json=SHEET)
    assert [problem["field"] for problem in answer.json()["problems"]] == ["seed"]


def test_the_api_describes_itself(local: Browser) -> None:
    description: dict[str, Any] = local.get("/api/openapi.json").json()
    paths = description["paths"]
    assert {"/api/v1/judge", "/api/v1/health", "/api/v1/schema/{name}"} <= set(paths)
    assert all(path.startswith("/api/") for path in paths)  # pages are not an interface
    assert "application/problem+json" in json.dumps(paths["/api/v1/judge"]["post"]["responses"]["422"])
    for name in ("sheet", "judgement"):
        assert name in local.get(f"/api/v1/schema/{name}").json()["title"]


def test_health_tells_the_version_and_nothing_of_the_shop(network: Place) -> None:
    answer = Browser(network).get("/api/v1/health")
    assert answer.json() == {"status": "well", "version": loopwright.__version__}


def test_refusals_speak_the_readers_language(local: Browser) -> None:
    assert '<html lang="es"' in local.get("/nowhere", accept_language="es").text
