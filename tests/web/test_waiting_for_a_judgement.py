"""A program that waits for its judgement is not left waiting when the server ends."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from loopwright.api import at_once


def test_whoever_waits_is_let_go_at_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    begun, never = threading.Event(), threading.Event()

    def lost_in_its_work(*_: object) -> None:
        begun.set()
        never.wait()

    monkeypatch.setattr(at_once, "_judged", lost_in_its_work)
    monkeypatch.setattr(at_once, "pool", ThreadPoolExecutor)
    monkeypatch.setattr(at_once, "end", lambda pool: pool.shutdown(wait=False))
    judging, told = at_once.AtOnce(seconds=600.0), []

    def ask() -> None:
        try:
            judging.judge({})
        except at_once.BusyError as error:
            told.append(error)

    asking = threading.Thread(target=ask)
    asking.start()
    begun.wait()
    judging.close()
    asking.join(60.0)  # of the 600 s that it would have waited
    never.set()
    assert told
