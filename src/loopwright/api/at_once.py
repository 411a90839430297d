"""One judgement for a program that waits for it, made in another process so that the server's threads stay free."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
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
            found, problems = self._ready().submit(_judged, sheet, seed, language).result(self._seconds)
        except (TimeoutError, BrokenProcessPool) as error:
            self.close()  # the process is lost, or lost in its work; the next call begins another
            raise BusyError from error
        finally:
            self._places.release()
        if problems:
            raise InputError(problems)
        return found

    def close(self) -> None:
        """End the process."""
        with self._lock:
            ending, self._pool = self._pool, None
        if ending is not None:
            end(ending)

    def _ready(self) -> ProcessPoolExecutor:
        with self._lock:
            if self._pool is None:
                self._pool = pool(1)
            return self._pool


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
