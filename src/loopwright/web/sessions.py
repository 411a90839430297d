"""Whose request it is (the person on this machine, a session, a program's token), and how often one may try."""

from __future__ import annotations

import asyncio
import secrets
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass
from functools import partial
from threading import Lock

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import HTTPConnection, Request
from starlette.responses import Response
from starlette.types import ASGIApp, Receive, Scope, Send

from loopwright.api.people import People, Person
from loopwright.language import nearest, speaking
from loopwright.web.security import Serving, Visitor

__all__ = ["Limit", "Limits", "Who", "address", "apart", "forget", "language_of", "remember"]

_LONGEST_KEY = 100
_HASHING = ThreadPoolExecutor(2, thread_name_prefix="passwords")  # Argon2 takes 64 MiB and a core
_COOKIE_S = 400 * 24 * 3600  # the server ends sessions itself; the key also marks the forms of a browser


class Who:
    """Finds out whose request it is, and speaks the person's language while it is answered."""

    def __init__(self, app: ASGIApp, people: People, serving: Serving) -> None:
        self.app, self.people, self.serving = app, people, serving

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http" or scope["path"].startswith("/static/"):
            await self.app(scope, receive, send)
            return
        who = await run_in_threadpool(self._visitor, HTTPConnection(scope))
        scope.setdefault("state", {})["visitor"] = who
        with speaking(language_of(who.person, Headers(scope=scope).get("accept-language", ""))):
            await self.app(scope, receive, send)

    def _visitor(self, request: HTTPConnection) -> Visitor:
        kind, _, token = request.headers.get("authorization", "").partition(" ")
        if kind.casefold() == "bearer" and request.url.path.startswith("/api/"):
            return Visitor(self.people.by_token(token.strip()), "", False, by_token=True)
        key = request.cookies.get(self.serving.cookie, "")
        fresh = not 20 <= len(key) <= _LONGEST_KEY
        if fresh:
            key = secrets.token_urlsafe(32)
        if not self.serving.on_network:
            return Visitor(self.people.local_owner(), key, fresh)
        return Visitor(None if fresh else self.people.by_session(key), key, fresh)


def language_of(person: Person | None, wanted: str) -> str:
    """Return the language to speak: the person's, else the first that the browser wants and we have.

    >>> language_of(None, "es-MX,en;q=0.5")
    'es-MX'
    """
    chosen = person.preferences.language if person is not None else ""
    return chosen or nearest(wanted)


def remember(response: Response, serving: Serving, key: str) -> None:
    """Give the browser its key."""
    response.set_cookie(
        serving.cookie, key, max_age=_COOKIE_S, path="/", secure=serving.tls, httponly=True, samesite="lax"
    )


def forget(response: Response, serving: Serving) -> None:
    """Take the browser's key away."""
    response.delete_cookie(serving.cookie, path="/", secure=serving.tls, httponly=True, samesite="lax")


async def apart(work: Callable[..., Response], *arguments: object) -> Response:
    """Do work that hashes passwords in threads of its own, so that a class that joins at once holds up no page."""
    run = partial(copy_context().run, work, *arguments)
    return await asyncio.get_running_loop().run_in_executor(_HASHING, run)


def address(request: Request) -> str:
    """Return the address that a request came from."""
    return request.client.host if request.client else ""


class Limit:
    """So many tries within so many seconds, for each key."""

    def __init__(self, tries: int, seconds: float, clock: Callable[[], float] = time.monotonic) -> None:
        """Count for up to 10,000 keys; beyond, the key that was quiet longest is forgotten.

        >>> limit = Limit(2, 60, clock=lambda: 0.0)
        >>> [limit.take("a") for _ in range(3)], limit.take("b")
        ([True, True, False], True)
        """
        self.tries, self.seconds = tries, seconds
        self._clock = clock
        self._taken: dict[str, deque[float]] = {}
        self._lock = Lock()

    def take(self, key: str) -> bool:
        """Take one try; False where none is left."""
        with self._lock:
            now = self._clock()
            taken = self._taken.pop(key, None) or deque(maxlen=self.tries)
            self._taken[key] = taken  # now the last of all keys
            if len(self._taken) > 10_000:
                del self._taken[next(iter(self._taken))]
            if len(taken) == self.tries and now - taken[0] < self.seconds:
                return False
            taken.append(now)
            return True

    def clear(self, key: str) -> None:
        """Give back all tries of a key."""
        with self._lock:
            self._taken.pop(key, None)


@dataclass(frozen=True)
class Limits:
    """How often one may try. The class behind one address signs in together; one account is tried by one person."""

    login_address: Limit
    login_account: Limit
    link_address: Limit

    @classmethod
    def usual(cls, clock: Callable[[], float] = time.monotonic) -> Limits:
        """Return the usual limits."""
        return cls(Limit(100, 300, clock), Limit(8, 300, clock), Limit(30, 300, clock))
