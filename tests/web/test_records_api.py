"""The HTTP API of the records: what a program writes is what a page shows; what it may not do is said as a problem."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from io import BytesIO
from typing import Any
from uuid import uuid4

import jsonschema
import pytest
from knocking import Browser, Place
from test_photo_uploads import picture
from test_record_pages import Shop

from loopwright.api.wire import schema_out

AT = "2026-05-04T10:00:00Z"


class Program:
    """A program with a token of a person."""

    def __init__(self, place: Place, name: str) -> None:
        place.shop.judge = lambda *_: False  # type: ignore[method-assign]
        self.place = place
        person = next(one for one in place.people.all() if one.name == name)
        self.client = Browser(place).client
        self.client.headers |= {"authorization": f"Bearer {place.people.make_token(person, 'test')}", "accept": "*/*"}

    def get(self, path: str) -> Any:
        return self.client.get(f"/api/v1{path}")

    def post(self, path: str, body: Any = None, **more: Any) -> Any:
        return self.client.post(f"/api/v1{path}", json=body, **more)

    def write(self, job: str, **values: str) -> Any:
        entries = [entry("wrote", field=key.replace("__", "."), value=value) for key, value in values.items()]
        return self.post(f"/jobs/{job}/entries", {"entries": entries})


def entry(kind: str, **data: Any) -> dict[str, Any]:
    return {"id": uuid4().hex, "at": AT, "kind": kind, "data": data}


@pytest.fixture
def network(place: Callable[..., Place]) -> Place:
    made = place("0.0.0.0")
    made.found()
    return made


def test_a_job_from_its_opening_to_its_state(network: Place) -> None:
    program = Program(network, "Ted")
    opened = program.post("/jobs", {"id": "made-by-me-1"})
    assert (opened.status_code, opened.headers["location"]) == (201, "/api/v1/jobs/made-by-me-1")
    assert program.post("/jobs", {"id": "made-by-me-1"}).json()["number"] == opened.json()["number"]
    program.write("made-by-me-1", vehicle__label="Van", before__running__low_side__pressure="lots")
    sent = [entry("did", act="connected", test="before"), entry("noted", text="hm")]
    kept = program.post("/jobs/made-by-me-1/entries", {"entries": sent})
    assert kept.json() == {"job": "made-by-me-1", "entries": 5}
    assert program.post("/jobs/made-by-me-1/entries", {"entries": sent}).json() == kept.json()  # sent again
    now = program.get("/jobs/made-by-me-1").json()
    assert now["vehicle"]["label"]["value"] == "Van"
    assert now["vehicle"]["label"]["by"] == "Ted"
    before = now["tests"]["before"]
    assert before["problems"] == {"before.running.low_side.pressure": "Not a number."}
    assert before["lacking"] == ["vehicle.refrigerant", "before.air_temperature"]
    assert before["acts"]["connected"]["early"] == ["protected"]
    assert [note["text"] for note in now["notes"]] == ["hm"]
    entries = program.get("/jobs/made-by-me-1/entries").json()["entries"]
    assert [one["kind"] for one in entries] == ["opened", "wrote", "wrote", "did", "noted"]


def test_lists_search_and_vehicles(network: Place) -> None:
    program = Program(network, "Tia")
    jobs = [program.post("/jobs", {}).json()["id"] for _ in range(2)]
    program.write(jobs[0], vehicle__label="Red van", vehicle__plate="AB 1")
    found = program.get("/jobs?search=van").json()
    assert [(one["id"], one["title"], one["verdict_before"]) for one in found["jobs"]] == [(jobs[0], "Red van", "")]
    assert found["more"] is False
    (vehicle,) = program.get("/vehicles?search=ab%201").json()["vehicles"]
    assert vehicle["card"] == {"label": "Red van", "plate": "AB 1"}
    again = program.post("/jobs", {"vehicle": vehicle["id"]}).json()
    assert again["vehicle"]["plate"]["value"] == "AB 1"
    history = program.get(f"/vehicles/{vehicle['id']}").json()
    assert [one["id"] for one in history["jobs"]] == [again["id"], jobs[0]]


def test_a_judgement_comes_in_the_published_form(network: Place) -> None:
    program = Program(network, "Tia")
    shop = Shop(network, signed_in="Ted")
    job = shop.job()
    none = program.get(f"/jobs/{job}/tests/before/judgement")
    assert (none.status_code, none.headers["content-type"]) == (404, "application/problem+json")
    shop.judged(job)
    found = program.get(f"/jobs/{job}/tests/before/judgement").json()
    jsonschema.validate(found, schema_out())
    assert found["verdict"] == "performs"
    assert program.get(f"/jobs/{job}").json()["tests"]["before"]["fresh"] is True
    assert program.get(f"/jobs/{job}/tests/during/judgement").status_code == 422


def test_photographs(network: Place) -> None:
    program = Program(network, "Tia")
    job = program.post("/jobs", {}).json()["id"]
    headers = {"content-type": "image/jpeg"}
    sent = program.client.post(f"/api/v1/jobs/{job}/photos?caption=Label", content=picture(), headers=headers)
    assert sent.status_code == 201
    name = sent.json()["photo"]
    (photo,) = program.get(f"/jobs/{job}").json()["photos"]
    assert (photo["photo"], photo["caption"], photo["by"]) == (name, "Label", "Tia")
    assert program.get(f"/photos/{name}").headers["content-type"] == "image/jpeg"
    assert program.client.post(f"/api/v1/jobs/{job}/photos", content=b"no", headers=headers).status_code == 422


def test_the_export_is_for_owners(network: Place) -> None:
    assert Program(network, "Tom").post("/export", {"what": "json"}).status_code == 403
    answer = Program(network, "Olga").post("/export", {"what": "json"})
    with zipfile.ZipFile(BytesIO(answer.content)) as archive:
        assert "jobs.json" in archive.namelist()


BAD: list[tuple[str, Any]] = [
    ("/jobs", {"id": "../.."}),
    ("/jobs", {"id": "short"}),
    ("/jobs", {"surprise": 1}),
    ("/jobs", []),
    ("/jobs/{job}/entries", {"entries": [entry("noted", text="a\x00b")]}),
    ("/jobs/{job}/entries", {"entries": [entry("noted", text={"a": 1})]}),
    ("/jobs/{job}/entries", {"entries": [entry("undid", entry=[1])]}),
    ("/jobs/{job}/entries", {"entries": [entry("wrote", field="vehicle.label", value="x" * 201)]}),
    ("/jobs/{job}/entries", {"entries": [entry("noted", text="ok"), entry("flew")]}),
    ("/jobs/{job}/entries", {"entries": [{**entry("noted", text="ok"), "by": "the owner"}]}),
    ("/jobs/{job}/entries", {"entries": [entry("noted", text="ok")] * 201}),
]


@pytest.mark.parametrize(("path", "body"), BAD)
def test_what_cannot_be_used_is_a_problem_and_nothing_is_written(
    place: Callable[..., Place], url: str, path: str, body: Any
) -> None:
    made = place("0.0.0.0", where=url)
    made.found()
    program = Program(made, "Ted")
    job = program.post("/jobs", {}).json()["id"]
    answer = program.post(path.format(job=job), body)
    assert (answer.status_code, answer.headers["content-type"]) == (422, "application/problem+json")
    assert answer.json()["problems"]
    assert len(program.get("/jobs").json()["jobs"]) == 1
    assert len(made.shop.job(job).entries) == 1


def test_what_is_not_there_is_404_and_who_is_not_known_401(network: Place) -> None:
    program = Program(network, "Ted")
    for path in ("/jobs/nothing", "/jobs/nothing/entries", "/jobs/nothing/tests/before/judgement", "/vehicles/nothing"):
        answer = program.get(path)
        assert (answer.status_code, answer.headers["content-type"]) == (404, "application/problem+json"), path
    assert program.post("/jobs/nothing/entries", {"entries": []}).status_code == 404
    assert program.post("/jobs", {"vehicle": "nobody-s"}).status_code == 404
    stranger = Browser(network).client
    assert stranger.get("/api/v1/jobs", headers={"accept": "*/*"}).status_code == 401


def test_it_is_described(network: Place) -> None:
    description = Browser(network).client.get("/api/openapi.json").json()
    for path in ("/api/v1/jobs", "/api/v1/jobs/{job}/entries", "/api/v1/vehicles/{vehicle}", "/api/v1/export"):
        assert path in description["paths"]
    assert {"JobNow", "JobList", "EntryIn", "VehicleHistory"} <= {*description["components"]["schemas"]}
