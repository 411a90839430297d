"""Processes that judge beside the server, and end with it, however it ends."""

from __future__ import annotations

import multiprocessing
import os
import threading
from concurrent.futures import ProcessPoolExecutor

__all__ = ["pool"]


def pool(workers: int) -> ProcessPoolExecutor:
    """Return a pool of fresh interpreters: a fork would copy the locks of the server's threads.

    >>> with pool(1) as one:
    ...     one.submit(abs, -3).result()
    3
    """
    return ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=_end_with_parent)


def _end_with_parent() -> None:
    """A server that is killed cannot tell its workers, and they would wait for work for ever."""
    threading.Thread(target=_watch, daemon=True).start()


def _watch() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
