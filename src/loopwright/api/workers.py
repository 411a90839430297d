"""Processes that judge beside the server, and end with it, however it ends."""

from __future__ import annotations

import multiprocessing
import os
import threading
from concurrent.futures import ProcessPoolExecutor

__all__ = ["end", "pool"]

_DIES_WITHIN_S = 5.0


def pool(workers: int) -> ProcessPoolExecutor:
    """Return a pool of fresh interpreters: a fork would copy the locks of the server's threads.

    >>> with pool(1) as one:
    ...     one.submit(abs, -3).result()
    3
    """
    return ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=_end_with_parent)


def end(pool: ProcessPoolExecutor) -> None:
    """End a pool and its processes now; what they were at is lost.

    Waiting for them to end by themselves may take as long as a compiler takes, or for ever: a process that dies between
    two messages leaves the pool waiting.

    >>> one = pool(1)
    >>> one.submit(abs, -3).result(), end(one)
    (3, None)
    """
    processes = list((pool._processes or {}).values())  # the pool itself ends them only from Python 3.14 on
    pool.shutdown(wait=False, cancel_futures=True)
    for process in processes:
        process.kill()
    for process in processes:
        process.join(_DIES_WITHIN_S)


def _end_with_parent() -> None:
    """A server that is killed cannot tell its workers, and they would wait for work for ever."""
    threading.Thread(target=_watch, daemon=True).start()


def _watch() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
