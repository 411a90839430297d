"""Live pages: nobody misses a change without being told, and nobody takes all the connections."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncIterator
from typing import Any

import pytest
from fastapi import HTTPException
from knocking import Browser

from loopwright.web import live
from loopwright.web.live import EACH, KEPT, WAITING, Event, Hub


async def _next(events: AsyncIterator[Event]) -> Event:
    return await asyncio.wait_for(anext(events), 2)


async def _listening(hub: Hub, topic: str, last: str = "") -> tuple[AsyncIterator[Event], asyncio.Future[Event]]:
    """Somebody who waits for the next event already."""
    events = hub.subscribe(topic, last)
    waiting = asyncio.ensure_future(anext(events))
    await asyncio.sleep(0)
    return events, waiting


def test_what_a_thread_publishes_reaches_those_who_listen_to_it() -> None:
    async def run() -> None:
        hub = Hub()
        hub.open()
        events, waiting = await _listening(hub, "job:1")
        _, other = await _listening(hub, "job:2")
        threads = [threading.Thread(target=hub.publish, args=("job:1", {"n": n})) for n in range(20)]
        for thread in threads:
            thread.start()
        found = [await asyncio.wait_for(waiting, 2), *[await _next(events) for _ in range(19)]]
        assert sorted(event.data["n"] for event in found) == list(range(20))
        assert [event.number for event in found] == sorted(event.number for event in found)
        assert not other.done()
        other.cancel()
        for thread in threads:
            thread.join()

    asyncio.run(run())


def test_who_comes_back_gets_what_was_told_meanwhile() -> None:
    async def run() -> None:
        hub = Hub()
        hub.open()
        _, waiting = await _listening(hub, "t")
        hub.publish("t", {"n": 0})
        last = hub.id_of((await waiting).number)
        for n in (1, 2):
            hub.publish("t", {"n": n})
        events = hub.subscribe("t", last)
        assert [(await _next(events)).data["n"] for _ in range(2)] == [1, 2]

    asyncio.run(run())


@pytest.mark.parametrize("last", ["", "otherrun-1", "nonsense", "-", "{run}-99999", "{run}-x", "{run}-1"])
def test_who_cannot_know_what_was_missed_is_told_so(last: str) -> None:
    async def run() -> None:
        hub = Hub()
        hub.open()
        _, waiting = await _listening(hub, "t")
        for n in range(KEPT + 5):
            hub.publish("t", {"n": n})
        await waiting
        events, first = await _listening(hub, "t", last.replace("{run}", hub._run))
        if last:
            assert (await asyncio.wait_for(first, 2)).kind == "missed"
        else:
            hub.publish("t", {"n": "new"})
            assert (await asyncio.wait_for(first, 2)).data == {"n": "new"}
        await events.aclose()  # type: ignore[attr-defined]

    asyncio.run(run())


def test_a_page_made_before_it_listens_misses_nothing() -> None:
    async def run() -> None:
        hub = Hub()
        hub.open()
        made_at = hub.last
        hub.publish("t", {"n": 1})  # between the page and its first connection; nobody listened yet
        assert (await _next(hub.subscribe("t", made_at))).kind == "missed"
        made_at = hub.last
        _, first = await _listening(hub, "t", made_at)
        await asyncio.sleep(0.01)
        assert not first.done()
        first.cancel()

    asyncio.run(run())


def test_a_listener_that_sleeps_does_not_pile_up() -> None:
    async def run() -> None:
        hub = Hub()
        hub.open()
        events, waiting = await _listening(hub, "t")
        for n in range(WAITING * 3 + 10):
            hub.publish("t", {"n": n})
        kinds = [(await waiting).kind]
        while True:
            try:
                kinds.append((await asyncio.wait_for(anext(events), 0.05)).kind)
            except TimeoutError:
                break
        assert len(kinds) <= WAITING
        assert "missed" in kinds

    asyncio.run(run())


def test_streams_end_when_the_server_stops() -> None:
    async def run() -> None:
        hub = Hub()
        hub.open()
        _, early = await _listening(hub, "t")
        await asyncio.get_running_loop().run_in_executor(None, hub.close)
        _, late = await _listening(hub, "t")
        for waiting in (early, late):
            with pytest.raises(StopAsyncIteration):
                await asyncio.wait_for(waiting, 2)

    asyncio.run(run())


def test_a_person_has_so_many_connections_and_no_more() -> None:
    hub = Hub()
    opened = [hub.connection("Ann") for _ in range(EACH)]
    for one in opened:
        one.__enter__()
    with pytest.raises(HTTPException) as refused, hub.connection("Ann"):
        pass
    assert refused.value.status_code == 503
    with hub.connection("Ben"):
        pass
    opened[0].__exit__(None, None, None)
    with hub.connection("Ann"):
        pass
    for one in opened[1:]:
        one.__exit__(None, None, None)
    assert hub._connections == {}


def test_the_stream_tells_keeps_alive_and_ends_with_the_browser(
    local: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(live, "KEEP_ALIVE_S", 0.05)
    app, hub = local.place.app, local.place.app.state.hub
    job = local.place.shop.open_job("Owner")
    told: list[str] = []
    headers: dict[str, str] = {}

    async def run() -> None:
        gone = asyncio.Event()
        hub.open()
        asked = False

        async def receive() -> Any:
            nonlocal asked
            if not asked:
                asked = True
                return {"type": "http.request", "body": b"", "more_body": False}
            await gone.wait()
            return {"type": "http.disconnect"}

        async def send(message: Any) -> None:
            if message["type"] == "http.response.start":
                headers.update({k.decode(): v.decode() for k, v in message["headers"]})
                assert message["status"] == 200
            told.append(message.get("body", b"").decode())

        scope = {
            "type": "http",
            "method": "GET",
            "path": f"/jobs/{job}/live",
            "raw_path": b"",
            "root_path": "",
            "scheme": "http",
            "query_string": b"",
            "headers": [(b"host", b"127.0.0.1:8765"), (b"accept-encoding", b"gzip")],
            "client": ("127.0.0.1", 5),
            "server": ("127.0.0.1", 8765),
        }
        running = asyncio.ensure_future(app(scope, receive, send))
        await _until(lambda: any(": still here" in part for part in told))
        await asyncio.get_running_loop().run_in_executor(None, hub.publish, f"job:{job}", {"job": job})
        await _until(lambda: any("event: changed" in part for part in told))
        assert hub._connections
        gone.set()
        await asyncio.wait_for(running, 5)
        hub.close()

    asyncio.run(run())
    assert headers["content-type"].startswith("text/event-stream")
    assert "content-encoding" not in headers  # packed, it would wait for more
    assert any(f'data: {{"job": "{job}"}}' in part for part in told)
    assert hub._connections == {}


async def _until(true: Any) -> None:
    for _ in range(200):
        if true():
            return
        await asyncio.sleep(0.02)
    raise AssertionError("It did not happen within 4 s.")
