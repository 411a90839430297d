"""Signing in on a network, and every way around it that we could think of."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Literal

import httpx2
import pytest
from argon2 import PasswordHasher
from knocking import PASSWORD, ROLES, Browser, Clock, Place, running, token_in, words

from loopwright.api.people import IDLE_S, People
from loopwright.web.app import create_app
from loopwright.web.security import Serving


def test_on_this_machine_nobody_signs_in(local: Browser) -> None:
    assert local.get("/settings").status_code == 200
    assert local.get("/login").headers["location"] == "/"


def test_on_a_network_nothing_is_shown_before_signing_in(network: Place) -> None:
    browser = Browser(network)
    for path in ("/settings", "/people", "/people/record"):
        answer = browser.get(path)
        assert (answer.status_code, answer.headers["location"]) == (303, f"/login?next={path}")
    assert browser.client.get("/people", headers={"accept": "application/json"}).status_code == 401
    refused = browser.client.post("/api/v1/judge", json={})
    assert (refused.status_code, refused.headers["www-authenticate"]) == (401, "Bearer")


def test_the_set_up_link_makes_the_owner_and_signs_in(place: Callable[..., Place]) -> None:
    made = place("0.0.0.0")
    browser = Browser(made)
    assert "set-up link" in words(browser.get("/login").text)
    path = f"/join/{made.people.setup_link()}"
    assert browser.get(path).status_code == 200
    assert browser.get(path).status_code == 200  # a preview of the link does not use it up
    assert browser.post(path, name="Olga", password=PASSWORD).headers["location"] == "/"
    assert browser.get("/people/record").status_code == 200
    late = Browser(made)
    assert late.get(path).status_code == 404
    token = late.token("/login")
    assert late.post(path, csrf=token, name="Eve", password=PASSWORD).status_code == 404
    assert [person.name for person in made.people.all()] == ["Olga"]


def test_a_phone_joins_by_the_square(network: Place) -> None:
    trainer = Browser(network, signed_in="Tom")
    page = trainer.post("/people/invite", "/people", role="trainee", uses="1")
    link = words(page.text.partition('id="link">')[2].partition("</code>")[0])
    assert link.startswith(f"{trainer.base}/join/")
    assert 'class="square" src="data:image/svg+xml' in page.text
    phone = Browser(network, "192.0.2.77")
    path = link.removeprefix(trainer.base)
    assert phone.post(path, name="Pia", password=PASSWORD).status_code == 303
    assert phone.get("/settings").status_code == 200
    assert phone.get("/people").status_code == 403


def test_a_wrong_password_and_an_unknown_name_get_the_same_answer(network: Place) -> None:
    answers = []
    for name in ("Olga", "Xena"):
        answer = Browser(network).sign_in(name, "not the password")
        answers.append((answer.status_code, words(answer.text.replace(name, "NAME"))))
    assert answers[0] == answers[1]
    assert answers[0][0] == 401


def test_a_session_planted_before_signing_in_is_worth_nothing_after(network: Place) -> None:
    """Session fixation: the attacker knows the cookie that the victim's browser had."""
    victim = Browser(network)
    victim.get("/login")
    planted = victim.key
    assert victim.sign_in("Olga").status_code == 303
    assert victim.key not in ("", planted)
    attacker = Browser(network, "192.0.2.66")
    attacker.client.cookies.set(network.serving.cookie, planted)
    assert attacker.get("/settings").status_code == 303


def test_signing_in_again_ends_the_session_before(network: Place) -> None:
    browser = Browser(network, signed_in="Ted")
    before = browser.key
    token = browser.token("/settings")
    assert browser.post("/login", csrf=token, name="Ted", password=PASSWORD).status_code == 303
    assert network.people.by_session(before) is None
    assert network.people.by_session(browser.key) is not None


def test_a_made_up_session_is_none(network: Place) -> None:
    browser = Browser(network)
    for key in ("x" * 43, "../../etc", "", "x" * 5000, "é" * 30):
        sent = [(b"cookie", f"{network.serving.cookie}={key}".encode()), (b"accept", b"text/html")]
        assert browser.client.get("/settings", headers=sent).status_code == 303


def test_signing_out_here_and_everywhere(network: Place) -> None:
    phone, bench = Browser(network, signed_in="Ted"), Browser(network, "192.0.2.51", signed_in="Ted")
    assert phone.post("/logout", "/settings").headers["location"] == "/login"
    assert (phone.get("/settings").status_code, bench.get("/settings").status_code) == (303, 200)
    phone.sign_in("Ted")
    kept = phone.key
    bench.post("/logout", "/settings", everywhere="1")
    phone.client.cookies.set(network.serving.cookie, kept)
    assert phone.get("/settings").status_code == 303


def test_a_session_ends_when_nobody_uses_it(network: Place, clock: Clock) -> None:
    browser = Browser(network, signed_in="Ted")
    clock.now += IDLE_S + 61
    assert browser.get("/settings").status_code == 303


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(place: Callable[..., Place]) -> None:
    for tls in (False, True):
        made = place("0.0.0.0", tls=tls)
        made.found()
        browser = Browser(made)
        cookie = browser.sign_in("Olga").headers["set-cookie"]
        assert cookie.startswith("__Host-loopwright=" if tls else "loopwright=")
        assert {"HttpOnly", "SameSite=lax", "Path=/"} <= {part.strip() for part in cookie.split(";")}
        assert ("Secure" in cookie) == tls
        assert "domain" not in cookie.casefold()


def test_guessing_a_password_is_slowed_down_for_the_account(network: Place, clock: Clock) -> None:
    answers = [Browser(network, f"192.0.2.{n}").sign_in("Olga", f"guess {n} of many").status_code for n in range(20)]
    assert answers == [401] * 8 + [429] * 12
    assert Browser(network).sign_in("Olga").status_code == 429  # even the right one: guesses must learn nothing
    assert Browser(network).sign_in("Ted").status_code == 303  # others are not kept out
    clock.now += 301
    assert Browser(network).sign_in("Olga").status_code == 303


def test_guessing_names_is_slowed_down_for_the_address(network: Place) -> None:
    browser = Browser(network, "192.0.2.66")
    token = browser.token("/login")
    answers = [browser.post("/login", csrf=token, name=f"n{n}", password="x").status_code for n in range(110)]
    assert (answers.count(401), answers.count(429)) == (100, 10)
    assert Browser(network, "192.0.2.67").sign_in("Ted").status_code == 303


def test_guessing_links_is_slowed_down(network: Place) -> None:
    browser = Browser(network, "192.0.2.66")
    answers = [browser.get(f"/join/{n:043d}").status_code for n in range(40)]
    assert (answers.count(404), answers.count(429)) == (30, 10)


def test_the_old_password_cannot_be_guessed_from_a_phone_left_behind(network: Place) -> None:
    browser = Browser(network, signed_in="Ted")
    sent = {"old_password": "a guess at it", "new_password": "another good one"}
    answers = [browser.post("/settings/password", "/settings", **sent).status_code for _ in range(10)]
    assert answers == [422] * 8 + [429] * 2


@pytest.mark.parametrize("there", ["//evil.example", "https://evil.example/", "/\\evil.example", "javascript:alert(1)"])
def test_signing_in_leads_nowhere_else(network: Place, there: str) -> None:
    assert Browser(network).sign_in("Ted", next=there).headers["location"] == "/"
    assert Browser(network, signed_in="Ted").client.get("/login", params={"next": there}).headers["location"] == "/"


def test_signing_in_leads_back_to_the_page_asked_for(network: Place) -> None:
    assert Browser(network).sign_in("Ted", next="/settings?a=1").headers["location"] == "/settings?a=1"


_LEAST = {"/settings": "trainee", "/people": "trainer", "/people/record": "owner"}


@pytest.mark.parametrize("name", ROLES)
@pytest.mark.parametrize("path", _LEAST)
def test_each_role_reaches_its_pages_and_no_other(network: Place, name: str, path: str) -> None:
    order = list(ROLES.values())
    allowed = order.index(ROLES[name]) >= order.index(_LEAST[path])
    answer = Browser(network, signed_in=name).get(path)
    assert answer.status_code == (200 if allowed else 403)
    if not allowed:
        assert "This page is for others" in words(answer.text)


def test_a_trainee_cannot_do_by_hand_what_no_page_offers(network: Place) -> None:
    browser = Browser(network, signed_in="Tia")
    tia = network.people.check_password("Tia", PASSWORD)
    assert tia is not None
    for path, fields in (
        ("/people/invite", {"role": "owner"}),
        ("/people/withdraw", {"invitation": "x"}),
        (f"/people/{tia.id}/role", {"role": "owner"}),
        (f"/people/{tia.id}/active", {"active": "1"}),
    ):
        assert browser.post(path, "/settings", **fields).status_code == 403
    browser.post("/settings", role="owner", id="x", name="Olga")
    assert network.people.get(tia.id).role == "trainee"


def test_a_trainer_gives_no_role_above_the_own_reach(network: Place) -> None:
    browser = Browser(network, signed_in="Tom")
    assert browser.post("/people/invite", "/people", role="owner").status_code == 422


def test_a_token_lets_a_program_in_until_it_ends(network: Place) -> None:
    browser = Browser(network, signed_in="Ted")
    page = browser.post("/settings/tokens", "/settings", label="night report").text
    token = words(page.partition('id="made">')[2].partition("</code>")[0])
    program = Browser(network, "192.0.2.90")
    program.client.headers["authorization"] = f"Bearer {token}"
    assert program.client.post("/api/v1/judge", json={"schema": 2}).status_code == 422  # let in; the sheet is refused
    assert program.get("/settings").status_code == 303  # a token is for the API alone
    assert token not in browser.get("/settings").text
    hashed = page.partition('name="token" value="')[2].partition('"')[0]
    assert browser.post("/settings/tokens/end", "/settings", token=hashed).status_code == 303
    assert program.client.post("/api/v1/judge", json={"schema": 2}).status_code == 401


def test_locking_somebody_out_works_at_once(network: Place) -> None:
    owner, ted = Browser(network, signed_in="Olga"), Browser(network, signed_in="Ted")
    person = network.people.check_password("Ted", PASSWORD)
    assert person is not None
    assert owner.post(f"/people/{person.id}/active", "/people", active="0").status_code == 303
    assert ted.get("/settings").status_code == 303
    assert Browser(network).sign_in("Ted").status_code == 401
    assert "locked out" in words(owner.get("/people").text)
    assert owner.post(f"/people/{person.id}/active", "/people", active="1").status_code == 303
    assert Browser(network).sign_in("Ted").status_code == 303


def test_the_language_and_theme_are_the_persons(network: Place) -> None:
    browser = Browser(network, signed_in="Ted")
    assert '<html lang="es-MX"' in browser.get("/settings", accept_language="es-MX,es;q=0.9").text
    browser.post("/settings", language="es", theme="dark")
    assert '<html lang="es" data-theme="dark"' in browser.get("/settings", accept_language="en").text


def test_the_name_on_reports_is_changed_on_the_settings_page(network: Place) -> None:
    browser = Browser(network, signed_in="Ted")
    taken = browser.post("/settings", name="olga", mass="lb")
    assert taken.status_code == 422
    assert "Somebody has that name already." in words(taken.text)
    assert browser.post("/settings", name="Ted Holm").status_code == 303
    assert 'value="Ted Holm"' in browser.get("/settings").text
    assert Browser(network).sign_in("Ted Holm").status_code == 303


def test_a_refused_setting_is_shown_with_what_was_typed(network: Place) -> None:
    browser = Browser(network, signed_in="Ted")
    answer = browser.post("/settings", gauge_accuracy="<b>so so</b>")
    assert answer.status_code == 422
    assert 'value="&lt;b&gt;so so&lt;/b&gt;"' in answer.text
    assert 'aria-invalid="true" aria-describedby="gauge_accuracy-help gauge_accuracy-wrong"' in " ".join(
        answer.text.split()
    )
    assert '<a href="#gauge_accuracy">' in answer.text
    assert token_in(answer.text)


class Slow(PasswordHasher):
    """Takes as long as the test wants for each try of a password."""

    def __init__(self) -> None:
        super().__init__(time_cost=1, memory_cost=8, parallelism=1)
        self.go_on = threading.Event()

    def verify(self, hash: str | bytes, password: str | bytes) -> Literal[True]:
        assert self.go_on.wait(60)
        return super().verify(hash, password)


def test_a_flood_of_sign_ins_holds_up_no_page(place: Callable[..., Place]) -> None:
    """Sixty at once, more than the server has threads; pages go on while all of them wait for their hash."""
    made, hasher = place(), Slow()
    made.people = People(made.shop.engine, hasher=hasher)
    made.serving = Serving("0.0.0.0")
    made.app = create_app(made.shop, made.serving, made.people)
    made.found()
    headers = {"accept": "text/html"}
    with running(made) as address, ThreadPoolExecutor(60) as pool, httpx2.Client(headers=headers, timeout=60) as one:
        page = one.get(f"{address}/login")
        sent = {"csrf": token_in(page.text), "password": "not the password"}

        def sign_in(n: int) -> int:
            cookies = {"loopwright": page.cookies["loopwright"]}
            with httpx2.Client(headers=headers, cookies=cookies, timeout=60) as other:
                return other.post(f"{address}/login", data={**sent, "name": f"somebody {n}"}).status_code

        flood = [pool.submit(sign_in, n) for n in range(60)]
        try:
            time.sleep(1)  # for all of them to have arrived
            assert not any(answer.done() for answer in flood)
            assert one.get(f"{address}/login", timeout=20).status_code == 200
        finally:
            hasher.go_on.set()
        assert {answer.result() for answer in flood} == {401}
