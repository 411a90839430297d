"""Vehicle air-conditioning performance tests: verdict, cause and next check from a sheet of readings."""

from loopwright._version import __version__

__all__ = ["__version__"]
