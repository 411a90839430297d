"""One judgement for a program that waits for it, made in another process so that the server's threads stay free."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from loopwright.api.workers import end, pool
from loopwright.errors import InputError, Problem

__all__ = ["AtOnce", "BusyError"]

Json = dict[str, Any]


class BusyError(Exception):
    """Too many judgements wait already, or this one took too long; asking again later may help."""


class AtOnce:
    """Judges one sheet after another in a process of its own, which starts at the first."""

    def __init__(self, waiting: int = 8, seconds: float = 60.0) -> None:
        """Let so many callers wait, each so long at most."""
        self._places = threading.BoundedSemaphore(waiting)
        self._seconds = seconds
        self._lock = threading.Lock()
        self._pool: ProcessPoolExecutor | None = None
        self._ended: Future[None] = Future()  # of the pool now at work; an ended pool may leave its callers waiting

    def judge(self, sheet: Mapping[str, Any], seed: int = 0, language: str = "en") -> Json:
        """Return the judgement of a sheet in its published form.

        Raises
        ------
        InputError : the sheet cannot be used
        BusyError : too many wait, or it took too long
        """
        if not self._places.acquire(blocking=False):
            raise BusyError
        try:
            processes, ended = self._ready()
            future = processes.submit(_judged, sheet, seed, language)
            either: list[Future[Any]] = [future, ended]
            wait(either, self._seconds, FIRST_COMPLETED)
            found, problems = future.result(0)
        except (TimeoutError, BrokenProcessPool) as error:
            self.close()  # the process is lost, or lost in its work; the next call begins another
            raise BusyError from error
        finally:
            self._places.release()
        if problems:
            raise InputError(problems)
        return found

    def close(self) -> None:
        """End the process; whoever waits for it is told that it took too long."""
        with self._lock:
            ending, self._pool = self._pool, None
            if not self._ended.done():
                self._ended.set_result(None)
        if ending is not None:
            end(ending)

    def _ready(self) -> tuple[ProcessPoolExecutor, Future[None]]:
        """The pool, and what tells of its end."""
        with self._lock:
            if self._pool is None:
                self._pool, self._ended = pool(1), Future()
            return self._pool, self._ended


def _judged(sheet: Mapping[str, Any], seed: int, language: str) -> tuple[Json, tuple[Problem, ...]]:
    """Judge in the worker; problems go back as values, for an exception with arguments of its own does not travel."""
    from loopwright.api import judge
    from loopwright.api.wire import to_wire
    from loopwright.language import speaking

    with speaking(language):
        try:
            return to_wire(judge(sheet, seed=seed)), ()
        except InputError as error:
            return {}, error.problems
