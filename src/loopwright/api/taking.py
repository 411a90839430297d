"""Everything taken away as one file: an export or a backup, made in a process of its own while the shop works on."""

from __future__ import annotations

import logging
import shutil
import tempfile
import threading
import time
import zipfile
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from loopwright.api.workers import end, pool

if TYPE_CHECKING:
    from loopwright.api.shop import Shop

__all__ = ["KEPT_S", "Taken", "Taking", "What", "packed"]

What = Literal["csv", "json", "parquet", "backup"]
KEPT_S = 3600.0  # a file that nobody fetched: customers' names are in it
_LEFT_S = 24 * 3600.0  # a folder of a program that was killed; nobody is at work in it any more
_PREFIX = "loopwright-taken-"


@dataclass(frozen=True)
class Taken:
    """One file: being made, ready or failed; `written` counts bytes, of the parts while it is being made."""

    what: What
    name: str
    folder: Path
    state: Literal["making", "ready", "failed"] = "making"
    written: int = 0

    @property
    def file(self) -> Path:
        """Where it is once it is ready."""
        return self.folder / "all.zip"


class Taking:
    """Makes one file at a time for the owners of a shop; the newest is kept for a while, so that it can be fetched."""

    def __init__(self, shop: Shop) -> None:
        """Make files of what this shop holds; nothing is started yet."""
        self._shop = shop
        self._lock = threading.RLock()  # a file may be ended before its making is watched
        self._taken: Taken | None = None
        self._pool: ProcessPoolExecutor | None = None
        self._forgetting: threading.Timer | None = None

    def begin(self, what: What, language: str = "en") -> None:
        """Begin to make a file, unless one is being made; the one before is forgotten."""
        with self._lock:
            if self._taken is not None and self._taken.state == "making":
                return
            self._forget()
            _sweep()
            folder = Path(tempfile.mkdtemp(prefix=_PREFIX))
            self._taken = Taken(what, f"loopwright-{what}-{self._shop.clock()[:10]}.zip", folder)
            self._pool = pool(1)
            where = self._shop.engine.url.render_as_string(hide_password=False)
            self._pool.submit(_make, where, folder, what, language).add_done_callback(partial(self._ended, self._taken))

    def now(self) -> Taken | None:
        """Return how it stands with the newest file; None where there is none."""
        with self._lock:
            found = self._taken
        return None if found is None else replace(found, written=_size(found))

    def close(self) -> None:
        """Stop, and forget what was made."""
        with self._lock:
            self._forget()

    def _forget(self) -> None:
        """Called with the lock held."""
        taken, self._taken = self._taken, None
        if self._forgetting is not None:
            self._forgetting.cancel()
        if self._pool is not None:
            end(self._pool)
            self._pool = None
        if taken is not None:
            shutil.rmtree(taken.folder, ignore_errors=True)

    def _ended(self, taken: Taken, future: Future[None]) -> None:
        error = None if future.cancelled() else future.exception()
        with self._lock:
            if self._taken is not taken:  # forgotten meanwhile
                return
            if error is not None:
                logging.getLogger("loopwright").error("No %s was made: %s", taken.what, error)
            self._taken = replace(taken, state="failed" if error or future.cancelled() else "ready")
            if self._pool is not None:
                self._pool.shutdown(wait=False)
                self._pool = None
            self._forgetting = threading.Timer(KEPT_S, self._expire, [self._taken])
            self._forgetting.daemon = True
            self._forgetting.start()

    def _expire(self, taken: Taken) -> None:
        with self._lock:
            if self._taken is taken:
                self._forget()


def packed(shop: Shop, folder: Path, what: What) -> Path:
    """Write an export or a backup into an empty folder as one file; it appears when it is whole.

    Raises
    ------
    OSError : the file cannot be written
    """
    from loopwright.api.backup import back_up_to
    from loopwright.api.export import export

    file, inside, unfinished = folder / "all.zip", folder / "export", folder / "unfinished.zip"
    if what == "backup":
        back_up_to(shop, file)
        return file
    export(shop, inside, what)
    with zipfile.ZipFile(unfinished, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(inside.rglob("*")):
            if path.is_file():
                archive.write(path, path.relative_to(inside).as_posix())
    shutil.rmtree(inside)
    return unfinished.replace(file)


def _make(where: str, folder: Path, what: What, language: str) -> None:
    """Make the file in the worker, through a door of its own."""
    from loopwright.api.shop import Shop
    from loopwright.language import speaking

    shop = Shop(where)
    try:
        with speaking(language):
            packed(shop, folder, what)
    finally:
        shop.close()


def _sweep() -> None:
    """Take away what programs left that were killed before they could."""
    for path in Path(tempfile.gettempdir()).glob(f"{_PREFIX}*"):
        with suppress(OSError):  # somebody else's, or gone meanwhile
            if time.time() - path.stat().st_mtime > _LEFT_S:
                shutil.rmtree(path)


def _size(taken: Taken) -> int:
    """Bytes of the file, or of all that is being written for it."""
    paths = [taken.file] if taken.state == "ready" else [path for path in taken.folder.rglob("*") if path.is_file()]
    size = 0
    for path in paths:
        with suppress(OSError):  # gone meanwhile
            size += path.stat().st_size
    return size
