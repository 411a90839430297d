"""Databases to test on: SQLite files, and a PostgreSQL server of our own that lives as long as the tests."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from abc import ABC, abstractmethod
from itertools import count
from pathlib import Path

import sqlalchemy as sa

from loopwright.store import Journal, connect

_DEBIAN = Path("/usr/lib/postgresql")
MISSING = "PostgreSQL's server is not installed here (Debian: apt-get install postgresql); SQLite was tested."


def _binaries() -> Path | None:
    """Where `initdb` is: on the path, or where Debian keeps it."""
    found = [Path(shutil.which("initdb") or "/nowhere").resolve().parent, *sorted(_DEBIAN.glob("*/bin"), reverse=True)]
    return next((folder for folder in found if (folder / "initdb").exists() and (folder / "pg_ctl").exists()), None)


BINARIES = None if sys.platform == "win32" else _binaries()


class Server:
    """A PostgreSQL cluster in a temporary folder, reached by a socket in it. It refuses to run as root, so then it
    runs as the user that its package made."""

    def __init__(self, binaries: Path) -> None:
        self._binaries = binaries
        self._user = "postgres" if os.geteuid() == 0 else None
        self.folder = Path(tempfile.mkdtemp(prefix="lw"))  # short: a socket's path has 107 characters at most
        if self._user:
            shutil.chown(self.folder, self._user)
        # Nothing here outlives the server, so it need not wait for the disk; our own crashes are those of its clients.
        self._run("initdb", "-A", "trust", "-U", "test", "-E", "UTF8", "--no-sync", "-D", self.data)
        options = f"-k {self.folder} -c listen_addresses='' -c fsync=off -c max_connections=50"
        self._run("pg_ctl", "-D", self.data, "-w", "-l", str(self.folder / "log"), "-o", options, "start")

    @property
    def data(self) -> str:
        return str(self.folder / "data")

    def url(self, name: str) -> str:
        return f"postgresql://test@/{name}?host={self.folder}"

    def execute(self, statement: str) -> None:
        engine = sa.create_engine(connect(self.url("postgres")).url, isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            connection.exec_driver_sql(statement)
        engine.dispose()

    def stop(self) -> None:
        self._run("pg_ctl", "-D", self.data, "-m", "immediate", "-w", "stop")
        shutil.rmtree(self.folder)

    def _run(self, program: str, *arguments: str) -> None:
        command = [str(self._binaries / program), *arguments]
        subprocess.run(command, user=self._user, cwd=self.folder, check=True, stdout=subprocess.DEVNULL, timeout=60)


class Maker(ABC):
    """Makes empty databases, and empty ledgers as copies of one that was made before, which is faster."""

    def __init__(self) -> None:
        self._names = count(1)
        self._ready: str | None = None

    @abstractmethod
    def empty(self) -> str:
        """A new database without tables."""

    @abstractmethod
    def copy(self, url: str) -> str:
        """A new database with what another holds; nothing may be connected to that."""

    @abstractmethod
    def drop(self, url: str) -> None:
        """Remove a database; thousands of them would fill the disk."""

    def ledger(self) -> str:
        if self._ready is None:
            self._ready = self.empty()
            Journal(self._ready).close()
        return self.copy(self._ready)


class SqliteMaker(Maker):
    def __init__(self, folder: Path) -> None:
        super().__init__()
        self._folder = folder

    def empty(self) -> str:
        return str(self._folder / f"{next(self._names)}.sqlite")

    def copy(self, url: str) -> str:
        return str(shutil.copy(url, self.empty()))

    def drop(self, url: str) -> None:
        Path(url).unlink()


class PostgresMaker(Maker):
    def __init__(self, server: Server) -> None:
        super().__init__()
        self._server = server

    def empty(self) -> str:
        return self._create("template0")

    def copy(self, url: str) -> str:
        return self._create(str(sa.make_url(url).database))

    def _create(self, template: str) -> str:
        name = f"ledger{next(self._names)}"
        self._server.execute(f"CREATE DATABASE {name} TEMPLATE {template}")
        return self._server.url(name)

    def drop(self, url: str) -> None:
        self._server.execute(f"DROP DATABASE {sa.make_url(url).database}")
