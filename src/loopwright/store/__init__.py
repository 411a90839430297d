"""The database: SQLite in a file by default, PostgreSQL by URL; only the api opens it."""

from loopwright.store.engine import connect
from loopwright.store.journal import Journal, Line, now

__all__ = ["Journal", "Line", "connect", "now"]
