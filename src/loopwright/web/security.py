"""What stands between the network and the pages: hosts, origins, sizes, headers, and who may do what.

A request passes `Guard` (is it meant for us, and not too big?), then `sessions.Who` (whose is it?), then the `needs` of
its route (may this person do that, and did the person mean it?). Every route declares its `needs`.
"""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import ipaddress
import logging
import socket
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any
from urllib.parse import urlsplit

from fastapi import Depends, HTTPException, Request
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from loopwright.api.people import Person
from loopwright.language import nearest, say, speaking
from loopwright.web.documents import RefusedError, crash, problem

__all__ = ["Guard", "Needs", "Serving", "Visitor", "me", "needs", "visitor"]

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
FORMS = ("application/x-www-form-urlencoded", "multipart/form-data")
UPLOADS = ("multipart/form-data", "image/")
LARGEST_BODY = 1_000_000  # bytes; a sheet has a few thousand
LARGEST_UPLOAD = 16_000_000  # a photograph of a telephone has 3 to 10 million
BODY_WITHIN_S = 60.0  # a photograph over a bad network; then the connection is given up

_POLICY = (
    "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; "
    "connect-src 'self'; object-src 'none'; frame-ancestors 'none'; form-action 'self'; base-uri 'none'"
)
_NOT_ALLOWED = "accelerometer camera display-capture geolocation gyroscope microphone midi payment usb"
HEADERS = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    # Nothing is told to other sites. "no-referrer" would also make browsers send "Origin: null" with our own forms.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": ", ".join(f"{name}=()" for name in _NOT_ALLOWED.split()),
}
PERSONAL = "no-store"  # of everything but the static files

log = logging.getLogger("loopwright.web")


@dataclass(frozen=True)
class Serving:
    """How the app is reached: the address it is bound to, whether by TLS, and by which further names."""

    host: str = "127.0.0.1"
    port: int = 8765
    tls: bool = False
    names: tuple[str, ...] = field(default=())

    @cached_property
    def on_network(self) -> bool:
        """Whether other machines can reach it; then accounts are required.

        >>> Serving("127.0.0.1").on_network, Serving("::1").on_network, Serving("0.0.0.0").on_network
        (False, False, True)
        """
        return not _loopback(self.host)

    @cached_property
    def cookie(self) -> str:
        """The session's cookie; under TLS no other host of the domain can set it."""
        return "__Host-loopwright" if self.tls else "loopwright"

    def knows(self, host: str) -> bool:
        """Whether a Host header names us. A page of another site that points its name at us names itself.

        >>> [Serving().knows(host) for host in ("localhost:8765", "127.0.0.1", "[::1]:8765", "evil.example:8765")]
        [True, True, True, False]
        """
        name = _hostname(host)
        if name == "localhost" or _loopback(name):
            return True
        return self.on_network and (_is_address(name) or name in self._own_names)

    @cached_property
    def _own_names(self) -> frozenset[str]:
        machine = socket.gethostname().casefold()
        short = machine.partition(".")[0]
        return frozenset({machine, short, f"{short}.local", *(name.casefold() for name in self.names)})


@dataclass(frozen=True)
class Visitor:
    """Whose request it is. `key` is the secret of the browser's cookie, new when `fresh`; empty for a program."""

    person: Person | None
    key: str
    fresh: bool
    by_token: bool = False

    @cached_property
    def csrf(self) -> str:
        """What a form must bring along: only a page of ours could have read it, and another browser's does not fit."""
        return hmac.new(self.key.encode(), b"csrf", hashlib.sha256).hexdigest()


def visitor(request: Request) -> Visitor:
    """Return whose request it is."""
    found: Visitor = getattr(request.state, "visitor", Visitor(None, "", False))  # static files ask for nobody
    return found


def me(request: Request) -> Person:
    """Return the person who asks; there is one wherever a route needs a role.

    Raises
    ------
    HTTPException : nobody has signed in (401)
    """
    person = visitor(request).person
    if person is None:
        raise HTTPException(401)
    return person


@dataclass(frozen=True)
class Needs:
    """Lets a request through when its person may do what `role` may ("anyone": no person needed), and meant it."""

    role: str

    async def __call__(self, request: Request) -> Person | None:
        """Check one request; return its person.

        Raises
        ------
        HTTPException : nobody has signed in (401), or the person may not (403)
        """
        who = visitor(request)
        if self.role != "anyone":
            if who.person is None:
                raise HTTPException(401)
            if not who.person.may(self.role):
                raise HTTPException(403, say("This page is for others: {role} or above.", role=self.role))
        if request.method not in SAFE and not who.by_token:
            await _meant(request, who)
        return who.person


def needs(role: str) -> Any:
    """Declare what a route needs: "anyone", "trainee" (anybody of the shop), "technician", "trainer" or "owner"."""
    return Depends(Needs(role))


async def _meant(request: Request, who: Visitor) -> None:
    """Refuse a write that another site made the browser send (CSRF)."""
    sent = request.headers.get("x-csrf-token", "")
    kind = request.headers.get("content-type", "").partition(";")[0].strip().casefold()
    if kind in FORMS:
        form = await request.form(max_files=10, max_fields=500)
        if any("\0" in value for _, value in form.multi_items() if isinstance(value, str)):
            raise HTTPException(400)
        request.state.form = form
        sent = sent or str(form.get("csrf", ""))
    if not who.fresh and hmac.compare_digest(sent.encode(), who.csrf.encode()):
        return
    if _program_on_this_machine(request, who, kind):
        return
    raise HTTPException(403, say("This form is no longer good. Load the page again and repeat what you did."))


def _program_on_this_machine(request: Request, who: Visitor, kind: str) -> bool:
    """A command or script that talks to the API on loopback has no page to take a token from.

    A browser always says where a write comes from (Origin), and sends other sites these three kinds only, unasked.
    """
    headers = request.headers
    foreign = any(name in headers for name in ("origin", "sec-fetch-site", "cookie", "referer"))
    local = who.person is not None and not request.app.state.serving.on_network
    return local and not foreign and kind not in (*FORMS, "text/plain", "") and request.url.path.startswith("/api/")


class Guard:
    """Refuses what is not meant for us or too big, and gives every answer its headers."""

    def __init__(self, app: ASGIApp, serving: Serving) -> None:
        self.app = app
        self.serving = serving

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return  # there are no web sockets here
        with speaking(nearest(Headers(scope=scope).get("accept-language", ""))):  # a person's own choice comes later
            await self._answered(scope, receive, _Answer(scope, send))

    async def _answered(self, scope: Scope, receive: Receive, answer: _Answer) -> None:
        try:
            self._meant_for_us(scope)
            await self.app(scope, _limited(Headers(scope=scope), receive), answer)
        except RefusedError as refusal:
            if not answer.begun:
                await problem(refusal.status_code, refusal.says)(scope, receive, answer)
        except Exception:
            log.exception("A request failed: %s %s", scope["method"], scope["path"])
            if not answer.begun:
                await crash(Request(scope, receive))(scope, receive, answer)

    def _meant_for_us(self, scope: Scope) -> None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if "\0" in scope["path"] or b"%00" in scope["query_string"]:  # no database keeps it, and no person types it
            raise RefusedError(400, say("A zero character is in the address."))
        if not self.serving.knows(host):
            raise RefusedError(421, say("This server is not known by that name."))
        if scope["method"] in SAFE:
            return
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            raise RefusedError(403, say("Another site sent this."))
        if (origin := headers.get("origin")) is not None and not _same_origin(origin, scope["scheme"], host):
            raise RefusedError(403, say("Another site sent this."))


class _Answer:
    """Sends an answer on, with our headers, and remembers that it has begun."""

    def __init__(self, scope: Scope, send: Send) -> None:
        self._scope, self._send = scope, send
        self.begun = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("Cache-Control", PERSONAL)
        await self._send(message)


def _limited(headers: Headers, receive: Receive) -> Callable[[], Awaitable[Message]]:
    """The body, refused when it gets too big or takes too long.

    Raises
    ------
    RefusedError : the body is announced as too big
    """
    limit = LARGEST_UPLOAD if headers.get("content-type", "").startswith(UPLOADS) else LARGEST_BODY
    length = headers.get("content-length", "0")
    if not length.isascii() or not length.isdigit() or int(length) > limit:
        raise RefusedError(413, say("This is too much at once."))
    taken, whole = 0, False

    async def next_part() -> Message:
        nonlocal taken, whole
        if whole:
            return await receive()  # what comes now is the end of the connection, however late
        try:
            message = await asyncio.wait_for(receive(), BODY_WITHIN_S)
        except TimeoutError:
            raise RefusedError(408, say("This took too long to arrive.")) from None
        taken += len(message.get("body", b""))
        whole = not message.get("more_body", False)
        if taken > limit:
            raise RefusedError(413, say("This is too much at once."))
        return message

    return next_part


def _same_origin(origin: str, scheme: str, host: str) -> bool:
    try:
        found = urlsplit(origin)
    except ValueError:
        return False
    return found.scheme == scheme and found.netloc.casefold() == host.casefold()


def _hostname(host: str) -> str:
    """The name or address in a Host header, without port and brackets; empty where it is none."""
    try:
        return (urlsplit(f"//{host}").hostname or "").rstrip(".") if host and not set(host) & set("/@?#\\ ") else ""
    except ValueError:
        return ""


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _loopback(name: str) -> bool:
    return name == "localhost" or (_is_address(name) and ipaddress.ip_address(name).is_loopback)
