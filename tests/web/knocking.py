"""A browser as the tests need it: keeps its cookies, and sends a form with the token that the page gave it."""

from __future__ import annotations

import re
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from html import unescape
from typing import Any

import uvicorn
from argon2 import PasswordHasher
from fastapi import FastAPI
from fastapi.testclient import TestClient

from loopwright.api.people import People, Person
from loopwright.api.shop import Shop
from loopwright.web.security import Serving

# Argon2 as weak as it goes: these tests are about who is let in, not about how long guessing takes.
QUICK = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
PASSWORD = "cold plate, warm hose"
ROLES = {"Tia": "trainee", "Ted": "technician", "Tom": "trainer", "Olga": "owner"}


class Clock:
    """Seconds since 1970, as many as the test says."""

    def __init__(self) -> None:
        self.now = 1_800_000_000.0

    def __call__(self) -> float:
        return self.now


@dataclass
class Place:
    """An app, and what stands behind it."""

    app: FastAPI
    people: People
    shop: Shop
    serving: Serving

    def found(self) -> dict[str, Person]:
        """An account for each role, by name; the owner by the set-up link, the others by invitation."""
        secret = self.people.setup_link()
        assert secret is not None
        owner = self.people.join(secret, "Olga", PASSWORD)
        assert owner is not None
        made = {"Olga": owner}
        for name, role in list(ROLES.items())[:3]:
            joined = self.people.join(self.people.invite(owner, role), name, PASSWORD)
            assert joined is not None
            made[name] = joined
        return made


@contextmanager
def running(place: Place) -> Iterator[str]:
    """Serve an app in a thread; give its address."""
    bound = socket.socket()
    bound.bind(("127.0.0.1", 0))
    bound.listen()  # whoever comes before it is ready waits
    server = uvicorn.Server(uvicorn.Config(place.app, log_level="error", proxy_headers=False, lifespan="on"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [bound]})
    thread.start()
    try:
        yield f"http://127.0.0.1:{bound.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join()
        bound.close()


class Browser:
    """One browser at one address of the network."""

    def __init__(self, place: Place, address: str = "192.0.2.50", signed_in: str = "") -> None:
        self.place = place
        on_network = place.serving.on_network
        scheme = "https" if place.serving.tls else "http"
        self.base = f"{scheme}://{'192.0.2.7' if on_network else '127.0.0.1'}:8765"
        self.client = TestClient(
            place.app, self.base, client=(address if on_network else "127.0.0.1", 50000), follow_redirects=False
        )
        self.client.headers["accept"] = "text/html"
        if signed_in:
            assert self.sign_in(signed_in).status_code == 303

    def get(self, path: str, **headers: str) -> Any:
        return self.client.get(path, headers=_named(headers))

    def post(self, path: str, page: str = "", csrf: str | None = None, headers: Any = None, **fields: str) -> Any:
        """Send a form as the page at `page` (else `path`) would: with its token, unless another is given."""
        token = self.token(page or path) if csrf is None else csrf
        return self.client.post(path, data={"csrf": token, **fields}, headers=headers or {"origin": self.base})

    def token(self, page: str) -> str:
        return token_in(self.client.get(page).text)

    def sign_in(self, name: str, password: str = PASSWORD, **fields: str) -> Any:
        return self.post("/login", name=name, password=password, **fields)

    @property
    def key(self) -> str:
        return str(self.client.cookies.get(self.place.serving.cookie, ""))


def token_in(text: str) -> str:
    found = re.search(r'<meta name="csrf" content="([0-9a-f]*)">', text)
    assert found, text[:500]
    return found[1]


def words(text: str) -> str:
    """What a page says, without its marks."""
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", text)).split())


def _named(headers: dict[str, str]) -> dict[str, str]:
    return {name.replace("_", "-"): value for name, value in headers.items()}
