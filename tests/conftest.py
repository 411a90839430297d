"""Before anything is compiled: the compiler's cache knows nothing of a changed callee, so a stale one is dropped."""

from pathlib import Path

import loopwright
from loopwright.api.warm import drop_stale


def pytest_configure():
    drop_stale(Path(loopwright.__file__).parent)
