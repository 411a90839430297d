"""Judgements for a running shop: made in another process, so that no page waits, and only the newest sheet counts."""

from __future__ import annotations

import contextlib
import hashlib
import json
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from typing import TYPE_CHECKING, Any

from loopwright.api.workers import end
from loopwright.api.workers import pool as new_pool

if TYPE_CHECKING:
    from loopwright.diagnosis.judgement import Judgement

__all__ = ["Judging", "decode", "encode", "sheet_hash"]

Key = tuple[str, str, str]  # job, test, language
Sheet = Mapping[str, Any]


def encode(judgement: Judgement) -> str:
    """Write a judgement whole, as text, so that `decode` returns an equal one."""
    import msgspec

    return msgspec.json.encode(judgement).decode()


def decode(text: str) -> Judgement:
    """Return the judgement that `encode` wrote.

    Raises
    ------
    ValueError : the text is no judgement
    """
    import msgspec

    from loopwright.diagnosis.judgement import Judgement

    return msgspec.json.decode(text, type=Judgement)


def sheet_hash(sheet: Sheet) -> str:
    """Return what a sheet is known by: the SHA-256 of its plain text.

    >>> sheet_hash({"a": 1, "b": 2}) == sheet_hash({"b": 2, "a": 1})
    True
    """
    plain = json.dumps(sheet, sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(plain.encode()).hexdigest()


def _warm() -> None:
    """Load the engine and its compiled code before the first person waits for it."""
    _judged({"schema": 1, "vehicle": {"refrigerant": "R134a"}, "weather": {"air_temperature_c": 30}}, "en")


def _judged(sheet: Sheet, language: str) -> tuple[str, str, str]:
    """Judge in the worker: engine version, verdict, and the judgement as text."""
    from loopwright.api import judge
    from loopwright.language import speaking

    with speaking(language):
        judgement = judge(sheet)
    return judgement.engine, judgement.verdict, encode(judgement)


class Judging:
    """Judges sheets one after another for whoever asks; a newer sheet of the same test replaces one that waits.

    `done(key, sheet, engine, verdict, text)` and `failed(key, sheet, error)` are called from a thread of the pool.
    """

    def __init__(
        self,
        done: Callable[[Key, Sheet, str, str, str], None],
        failed: Callable[[Key, Sheet, BaseException], None],
        workers: int = 1,
    ) -> None:
        """Make a pool of `workers` processes; it starts at the first wish, or at `warm`."""
        self._done, self._failed = done, failed
        self._workers = workers
        self._lock = threading.Lock()
        self._waiting: dict[Key, Sheet] = {}
        self._running: dict[Key, Sheet] = {}
        self._pool: ProcessPoolExecutor | None = None
        self._closed = False

    def warm(self) -> None:
        """Start the processes and load the engine in them, without waiting for it."""
        with self._lock:
            pool = self._started()
        for _ in range(self._workers):
            pool.submit(_warm)

    def wish(self, key: Key, sheet: Sheet) -> None:
        """Ask for a judgement; the same sheet of the same test is judged once."""
        with self._lock:
            if self._closed or self._running.get(key) == sheet:
                self._waiting.pop(key, None)
                return
            self._waiting[key] = sheet
            self._next()

    def busy(self, key: Key) -> bool:
        """Tell whether a judgement of a test is being made or waits for its turn."""
        with self._lock:
            return key in self._running or key in self._waiting

    def close(self) -> None:
        """Stop; what waits or is under way is not judged."""
        with self._lock:
            self._closed = True
            self._waiting.clear()
            pool, self._pool = self._pool, None
        if pool is not None:
            end(pool)

    def _started(self) -> ProcessPoolExecutor:
        if self._pool is None:
            self._pool = new_pool(self._workers)
        return self._pool

    def _next(self) -> None:
        """Hand over what waits, as far as processes are free; called with the lock held."""
        for key in [key for key in self._waiting if key not in self._running]:
            if len(self._running) >= self._workers:
                return
            sheet = self._waiting.pop(key)
            self._running[key] = sheet
            future = self._started().submit(_judged, sheet, key[2])
            future.add_done_callback(partial(self._ended, key, sheet))

    def _ended(self, key: Key, sheet: Sheet, future: Future[tuple[str, str, str]]) -> None:
        error = None if future.cancelled() else future.exception()
        try:
            if self._closed:
                return
            if error is not None:
                self._failed(key, sheet, error)
            elif not future.cancelled():
                self._done(key, sheet, *future.result())
        finally:
            with self._lock:
                self._running.pop(key, None)
                if isinstance(error, BrokenProcessPool):  # killed from outside; the next wish starts another
                    self._pool = None
                if not self._closed:
                    with contextlib.suppress(RuntimeError):  # the pool was closed meanwhile
                        self._next()
