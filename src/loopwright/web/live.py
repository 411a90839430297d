"""Live pages: whatever changes is told to those who look at it, by Server-Sent Events.

An event is a hint to look again, never the only copy of anything: a page that missed some is told so ("missed") and
loads itself anew.
"""

from __future__ import annotations

import asyncio
import json
import secrets
from collections import deque
from collections.abc import AsyncIterator, Iterator, Mapping
from contextlib import contextmanager
from threading import Lock
from typing import Any, NamedTuple

from fastapi import HTTPException, Request
from starlette.responses import StreamingResponse
from starlette.types import Receive, Scope, Send

__all__ = ["Event", "Hub", "stream"]

KEPT = 64  # events of a topic, for those who come back after a short break
WAITING = 64  # events for one listener; who is that far behind loads anew
TOPICS = 1000  # remembered; beyond, those that nobody listens to are forgotten
EACH = 12  # connections of one person: some devices, some tabs
ALL = 400
KEEP_ALIVE_S = 15.0  # within what telephones take for a dead connection


class Event(NamedTuple):
    """What is told: its number, a kind, and plain data."""

    number: int
    kind: str
    data: Mapping[str, Any]


_END = Event(-1, "end", {})  # never told


class _Topic:
    """`forgotten` is the number up to which events are not kept any more."""

    def __init__(self, forgotten: int) -> None:
        self.kept: deque[Event] = deque()
        self.listeners: set[asyncio.Queue[Event]] = set()
        self.forgotten = forgotten

    def keep(self, event: Event) -> None:
        self.kept.append(event)
        if len(self.kept) > KEPT:
            self.forgotten = self.kept.popleft().number


class Hub:
    """Tells events to listeners, in one process. `publish` may be called from any thread."""

    def __init__(self) -> None:
        self._run = secrets.token_hex(4)  # so that an id of an earlier run is known as such
        self._topics: dict[str, _Topic] = {}
        self._told = 0
        self._connections: dict[str, int] = {}
        self._lock = Lock()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._closed = False

    def open(self) -> None:
        """Begin to tell, in the running event loop."""
        self._loop, self._closed = asyncio.get_running_loop(), False

    def close(self) -> None:
        """Tell nothing more, and end every stream, so that a server can stop. Called from any thread, or a signal."""
        loop, self._loop, self._closed = self._loop, None, True
        if loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(self._end)

    def _end(self) -> None:
        for topic in self._topics.values():
            for queue in topic.listeners:
                queue.put_nowait(_END)

    def id_of(self, number: int) -> str:
        """Return what an event is called towards browsers."""
        return f"{self._run}-{number}"

    @property
    def last(self) -> str:
        """What the newest event is called; a page that was made now has seen everything up to it."""
        return self.id_of(self._told)

    def publish(self, topic: str, data: Mapping[str, Any], kind: str = "changed") -> None:
        """Tell all who listen to a topic; nobody waits for it."""
        with self._lock:
            self._told += 1
            found = self._topics.get(topic)
            if found is None or self._loop is None:
                return
            event = Event(self._told, kind, dict(data))
            found.keep(event)
            if not self._loop.is_closed():
                self._loop.call_soon_threadsafe(_hand_over, list(found.listeners), event)

    async def subscribe(self, topic: str, last: str = "") -> AsyncIterator[Event]:
        """Listen to a topic, from after the event `last` on; without it, from now on."""
        queue: asyncio.Queue[Event] = asyncio.Queue()
        with self._lock:
            self._forget_some()
            found = self._topics.setdefault(topic, _Topic(self._told))
            for event in self._since(found, last):
                queue.put_nowait(event)
            found.listeners.add(queue)
            if self._closed:
                queue.put_nowait(_END)
        try:
            while (event := await queue.get()) is not _END:
                yield event
        finally:
            with self._lock:
                found.listeners.discard(queue)

    @contextmanager
    def connection(self, person: str) -> Iterator[None]:
        """Count one connection of a person.

        Raises
        ------
        HTTPException : there are too many (503)
        """
        with self._lock:
            if self._connections.get(person, 0) >= EACH or sum(self._connections.values()) >= ALL:
                raise HTTPException(503)
            self._connections[person] = self._connections.get(person, 0) + 1
        try:
            yield
        finally:
            with self._lock:
                self._connections[person] -= 1
                if not self._connections[person]:
                    del self._connections[person]

    def _since(self, topic: _Topic, last: str) -> list[Event]:
        """What came after `last`, or one event that says that some of it is forgotten."""
        if not last:
            return []
        run, _, number = last.partition("-")
        known = run == self._run and number.isdecimal() and topic.forgotten <= int(number) <= self._told
        if not known:
            return [Event(self._told, "missed", {})]
        return [event for event in topic.kept if event.number > int(number)]

    def _forget_some(self) -> None:
        if len(self._topics) >= TOPICS:
            self._topics = {name: topic for name, topic in self._topics.items() if topic.listeners}


def _hand_over(listeners: list[asyncio.Queue[Event]], event: Event) -> None:
    for queue in listeners:
        if queue.qsize() < WAITING:
            queue.put_nowait(event)
            continue
        while not queue.empty():
            queue.get_nowait()
        queue.put_nowait(Event(event.number, "missed", {}))


class _Stream(StreamingResponse):
    """Counted among the person's connections from its first byte to its end."""

    def __init__(self, hub: Hub, topic: str, person: str, last: str) -> None:
        super().__init__(_lines(hub, topic, last), media_type="text/event-stream")
        self._hub, self._person = hub, person

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        with self._hub.connection(self._person):
            await super().__call__(scope, receive, send)


def stream(request: Request, topic: str, person: str) -> StreamingResponse:
    """Answer with the events of a topic until the browser goes; a person has a bounded number of connections.

    The browser says what it saw last by itself (Last-Event-ID), or the page does by `?after=`.
    """
    last = request.headers.get("last-event-id") or request.query_params.get("after", "")
    return _Stream(request.app.state.hub, topic, person, last[:40])


async def _lines(hub: Hub, topic: str, last: str) -> AsyncIterator[str]:
    events = hub.subscribe(topic, last)
    waiting: asyncio.Future[Event] | None = None
    try:
        yield "retry: 2000\n\n"
        while True:
            waiting = waiting or asyncio.ensure_future(anext(events))
            done, _ = await asyncio.wait([waiting], timeout=KEEP_ALIVE_S)
            if not done:
                yield ": still here\n\n"
                continue
            try:
                event, waiting = waiting.result(), None
            except StopAsyncIteration:
                return
            yield f"id: {hub.id_of(event.number)}\nevent: {event.kind}\ndata: {json.dumps(dict(event.data))}\n\n"
    finally:
        if waiting is not None:
            waiting.cancel()
