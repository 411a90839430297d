"""Vehicle air-conditioning performance tests: verdict, cause and next check from a sheet of readings.

>>> import loopwright
>>> judgement = loopwright.judge({"schema": 1, "vehicle": {"refrigerant": "R134a"},
...     "weather": {"air_temperature_c": 30}, "readings": []})
>>> judgement.verdict
'cannot_say'
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from loopwright._version import __version__

if TYPE_CHECKING:
    from loopwright.api import judge, judge_batch, judge_file
    from loopwright.errors import InputError

__all__ = ["InputError", "__version__", "judge", "judge_batch", "judge_file"]

# Looked up when first used: the lower rooms must be importable without the api above them.
_HOME = {"InputError": "errors", "judge": "api", "judge_batch": "api", "judge_file": "api"}


def __getattr__(name: str) -> Any:
    """Public names, each fetched from its room when asked for."""
    if name in _HOME:
        return getattr(import_module(f"loopwright.{_HOME[name]}"), name)
    raise AttributeError(f"module 'loopwright' has no attribute {name!r}")
