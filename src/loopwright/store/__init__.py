"""The database: SQLite in a file by default, PostgreSQL by URL; only the api opens it."""

from loopwright.store.engine import connect
from loopwright.store.journal import Journal, Line

__all__ = ["Journal", "Line", "connect"]
