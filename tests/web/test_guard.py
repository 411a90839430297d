"""What never reaches a page: other hosts, other sites, forged forms, too much; and the headers of every answer."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from html import unescape
from typing import Any
from urllib.parse import quote

import pytest
from fastapi import Request
from fastapi.routing import APIRoute, iter_route_contexts
from knocking import Browser, Place

from loopwright.web import security
from loopwright.web.security import HEADERS, LARGEST_BODY, LARGEST_UPLOAD, SAFE, Guard, Needs, Serving, needs

EVIL = "https://evil.example"
# Whoever may ask these without an account; anything added here must be meant.
PUBLIC = {
    "GET /static/{version}/{name:path}",
    "HEAD /static/{version}/{name:path}",
    "GET /api/v1/health",
    "GET /api/v1/schema/{name}",
    "GET /api/openapi.json",
    "GET /worker.js",
    "GET /offline",
    "GET /login",
    "POST /login",
    "GET /join/{secret}",
    "POST /join/{secret}",
}


def routes(place: Place) -> Iterator[tuple[str, str, set[str]]]:
    """Every route of the app: method, path, and the roles that its `needs` name."""
    for context in iter_route_contexts(place.app.routes):
        route = context.original_route
        assert isinstance(route, APIRoute), f"{route} is not one of ours"
        roles = {d.call.role for d in route.dependant.dependencies if isinstance(d.call, Needs)}
        for method in sorted(route.methods):
            yield method, route.path, roles


def filled(path: str) -> str:
    """A path with something in every place."""
    return "/".join("before" if part == "{test}" else "x" if part.startswith("{") else part for part in path.split("/"))


def test_every_route_declares_its_role(network: Place) -> None:
    found = list(routes(network))
    assert len(found) > 15
    assert [f"{method} {path}" for method, path, roles in found if len(roles) != 1] == []
    assert {f"{method} {path}" for method, path, roles in found if roles == {"anyone"}} == PUBLIC


def test_no_route_but_the_public_ones_answers_a_stranger(network: Place) -> None:
    stranger = Browser(network)
    for method, path, roles in routes(network):
        if roles != {"anyone"}:
            answer = stranger.client.request(method, filled(path))
            assert answer.status_code in (303, 401), f"{method} {path}"


def test_a_trainee_is_refused_wherever_more_is_needed(network: Place) -> None:
    trainee = Browser(network, signed_in="Tia")
    headers = {"x-csrf-token": trainee.token("/settings")}
    tried = 0
    for method, path, roles in routes(network):
        if roles & {"technician", "trainer", "owner"}:
            tried += 1
            assert trainee.client.request(method, filled(path), headers=headers).status_code == 403, f"{method} {path}"
    assert tried >= 6


@pytest.mark.parametrize("kind", ["empty", "a new job", "hostile"])
def test_no_page_breaks_over_a_shop_that_holds_little(local: Browser, kind: str) -> None:
    """Every page and every reading of the API, in a shop without a job, with an empty one, and asked for nonsense."""
    shop = local.place.shop
    job = shop.open_job("Owner") if kind == "a new job" else "'; DROP TABLE shop_job --" if kind == "hostile" else "x"
    places = {"{job}": job, "{vehicle}": shop.job(job).vehicle if kind == "a new job" else job, "{test}": "after"}
    for method, path, _ in routes(local.place):
        if method not in SAFE or path.endswith("/live"):
            continue
        asked = "/".join(quote(places.get(part, job if part.startswith("{") else part)) for part in path.split("/"))
        for query in ("", "?q=%27%25_&page=1&search=%27", "?test=after&what=csv"):
            assert local.client.request(method, asked + query).status_code < 500, f"{method} {asked}{query}"


@pytest.mark.parametrize("signed_in", [True, False])
def test_no_form_is_taken_without_the_pages_token(place: Callable[..., Place], signed_in: bool) -> None:
    """Forged forms: no token, another browser's token, the token of before signing in; on a network and on loopback."""
    made = place("0.0.0.0" if signed_in else "127.0.0.1")
    if signed_in:
        made.found()
    browser = Browser(made)
    before = browser.token("/login" if signed_in else "/settings")
    if signed_in:
        browser.sign_in("Olga")
    other = Browser(made, "192.0.2.66", signed_in="Tom" if signed_in else "")
    forged = ["", "0" * 64, other.token("/settings"), *([before] if signed_in else [])]
    tried = 0
    for method, path, _ in routes(made):
        if method in SAFE:
            continue
        for token in forged:
            tried += 1
            for sent in ({"data": {"csrf": token}}, {"json": {}, "headers": {"x-csrf-token": token}}):
                answer = browser.client.request(method, filled(path), **sent)
                assert answer.status_code == 403, f"{method} {path} {sent}"
    assert tried > 20


def test_the_pages_token_is_taken_as_field_and_as_header(local: Browser) -> None:
    token = local.token("/settings")
    assert local.client.post("/settings", data={"csrf": token, "mass": "lb"}).status_code == 303
    assert local.client.post("/settings", data={"mass": "oz"}, headers={"x-csrf-token": token}).status_code == 303


def test_another_sites_page_cannot_write_even_with_the_token(local: Browser) -> None:
    token = local.token("/settings")
    for headers in (
        {"origin": EVIL},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "https://127.0.0.1:8765"},
        {"origin": local.base, "sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ):
        answer = local.post("/settings", csrf=token, headers=headers, mass="lb")
        assert answer.status_code == 403, headers
    assert local.post("/settings", csrf=token, headers={"origin": local.base, "sec-fetch-site": "same-origin"})


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:8765", "127.0.0.1.evil.example", "localhost@evil.example", "", "192.0.2.7", "[::1"],
)
def test_a_name_that_another_site_points_at_us_is_refused(local: Browser, host: str) -> None:
    """DNS rebinding: the browser believes that evil.example is us, and says so."""
    assert local.get("/settings", host=host).status_code == 421


def test_hosts_on_a_network(network: Place) -> None:
    browser = Browser(network)
    for host in ("192.0.2.7:8765", "shop.example", "localhost", "[2001:db8::1]:8765"):
        assert browser.get("/login", host=host).status_code == 200, host
    assert browser.get("/login", host="evil.example").status_code == 421


def test_a_program_on_this_machine_needs_no_page(local: Browser) -> None:
    bare = Browser(local.place).client
    assert bare.post("/api/v1/judge", json={"schema": 2}).status_code == 422
    # What a browser could be made to send, it cannot send so.
    assert bare.post("/api/v1/judge", content="{}", headers={"content-type": "text/plain"}).status_code == 403
    for name in ("origin", "referer", "cookie"):
        value = local.base if name != "cookie" else "loopwright=" + "x" * 43
        assert bare.post("/api/v1/judge", json={}, headers={name: value}).status_code == 403, name
    assert bare.post("/settings", json={}).status_code == 403


def test_on_a_network_a_program_without_a_token_writes_nothing(network: Place) -> None:
    browser = Browser(network, signed_in="Olga")
    assert browser.client.post("/api/v1/judge", json={"schema": 2}).status_code == 403  # the cookie alone


def test_every_answer_has_the_headers(network: Place) -> None:
    browser = Browser(network, signed_in="Tia")
    for path in ("/settings", "/people", "/nowhere", "/login", "/api/v1/health", "/api/nowhere", "/static/x/base.css"):
        answer = browser.get(path)
        assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS, path
        kept = answer.headers["cache-control"]
        assert kept == ("no-cache" if path.startswith("/static") else "no-store"), path
    refused = browser.get("/settings", host="evil.example")
    assert {name: refused.headers.get(name) for name in HEADERS} == HEADERS


def test_the_policy_allows_no_inline_script_or_style_and_no_other_host() -> None:
    policy = dict(part.split(maxsplit=1) for part in HEADERS["Content-Security-Policy"].split("; "))
    assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == policy["default-src"] == "'self'"
    assert policy["frame-ancestors"] == policy["base-uri"] == policy["object-src"] == "'none'"
    assert "unsafe" not in HEADERS["Content-Security-Policy"]
    assert "http" not in HEADERS["Content-Security-Policy"]


def test_a_fault_of_ours_tells_nothing_and_has_the_headers(
    place: Callable[..., Place], caplog: pytest.LogCaptureFixture
) -> None:
    made = place()

    @made.app.get("/broken", dependencies=[needs("anyone")])
    @made.app.get("/api/broken", dependencies=[needs("anyone")])
    def broken() -> None:
        raise RuntimeError("secret words")

    browser = Browser(made)
    for path in ("/broken", "/api/broken"):
        answer = browser.get(path)
        assert answer.status_code == 500
        assert "secret words" not in answer.text
        assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS
    assert answer.json()["status"] == 500
    assert "secret words" in caplog.text


def test_too_much_is_refused_before_it_is_read(local: Browser) -> None:
    for headers in ({"content-length": str(LARGEST_BODY + 1)}, {"content-length": "-1"}, {"content-length": "many"}):
        sent = {"content-type": "application/json", **headers}
        assert local.client.post("/api/v1/judge", content=b"{}", headers=sent).status_code == 413, headers


def test_too_much_without_saying_so_is_refused_too(local: Browser) -> None:
    def parts(total: int) -> Iterator[bytes]:
        for _ in range(total // 50_000 + 1):
            yield b" " * 50_000

    answer = local.client.post("/api/v1/judge", content=parts(LARGEST_BODY), headers={"content-type": "text/json"})
    assert answer.status_code == 413
    upload = {"content-type": "multipart/form-data; boundary=x"}
    assert local.client.post("/settings", content=parts(LARGEST_UPLOAD), headers=upload).status_code == 413


def test_a_body_that_never_ends_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(security, "BODY_WITHIN_S", 0.05)
    told: list[dict[str, Any]] = []

    async def app(scope: Any, receive: Any, send: Any) -> None:
        while (await receive()).get("more_body"):
            pass

    async def never() -> Any:
        await asyncio.sleep(60)

    async def send(message: Any) -> None:
        told.append(message)

    scope = {
        "type": "http",
        "method": "POST",
        "path": "/settings",
        "scheme": "http",
        "headers": [(b"host", b"127.0.0.1")],
        "query_string": b"",
    }
    asyncio.run(Guard(app, Serving())(scope, never, send))
    assert told[0]["status"] == 408


def test_a_form_of_a_thousand_fields_is_refused(local: Browser) -> None:
    token = local.token("/settings")
    fields = {f"f{n}": "x" for n in range(1001)}
    assert local.client.post("/settings", data={**fields, "csrf": token}).status_code == 400


def test_a_stored_script_is_shown_and_does_not_run(place: Callable[..., Place]) -> None:
    """In every text that a person may write about people and settings."""
    script = "<script>alert(1)</script>"
    made = place("0.0.0.0")
    owner = made.found()["Olga"]
    password = "a good one for a script"
    joined = made.people.join(made.people.invite(owner, "owner"), script, password)
    assert joined is not None
    browser = Browser(made)
    assert browser.sign_in(script, password).status_code == 303
    assert browser.post("/settings", gauge=f'"><img src=x onerror=alert(1)>{script}').status_code == 303
    assert browser.post("/settings/tokens", "/settings", label=script).status_code == 200
    browser.post("/people/invite", "/people", role="trainee")
    for path in ("/settings", "/people", "/people/record", "/login?next=" + script, f"/{script}"):
        text = browser.get(path).text
        assert "<script>alert" not in text, path
        assert "<img src=x" not in text, path
    for path in ("/settings", "/people", "/people/record"):
        assert script in unescape(browser.get(path).text), path  # shown as it was written


def test_bad_paths_of_static_files_lead_nowhere(local: Browser) -> None:
    for name in (
        "../app.py",
        "%2e%2e/app.py",
        "..%2fapp.py",
        "/etc/passwd",
        "vendor/../../app.py",
        ".",
        "",
        "base.css/",
    ):
        assert local.client.get(f"/static/x/{name}").status_code == 404, name


def test_who_asks_is_known_to_pages_and_errors(local: Browser) -> None:
    seen: list[str] = []

    @local.place.app.get("/who", dependencies=[needs("trainee")])
    def who(request: Request) -> None:
        seen.append(security.me(request).role)

    local.get("/who")
    assert seen == ["owner"]
