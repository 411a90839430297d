"""One suite on both databases: every test that asks for `url` runs on SQLite and on PostgreSQL."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent.parent / "ledger"))  # for `shop`, the acts as lines of text

from databases import BINARIES, MISSING, Maker, PostgresMaker, Server, SqliteMaker


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    if BINARIES is None:
        pytest.skip(MISSING)
    running = Server(BINARIES)
    yield running
    running.stop()


@pytest.fixture(scope="session")
def sqlite(tmp_path_factory: pytest.TempPathFactory) -> Maker:
    return SqliteMaker(tmp_path_factory.mktemp("sqlite"))


@pytest.fixture(scope="session")
def postgresql(server: Server) -> Maker:
    return PostgresMaker(server)


@pytest.fixture(params=["sqlite", "postgresql"])
def make(request: pytest.FixtureRequest) -> Maker:
    """Makes databases, of one kind and then of the other."""
    maker: Maker = request.getfixturevalue(request.param)
    return maker


@pytest.fixture
def url(make: Maker) -> str:
    """An empty ledger."""
    return make.ledger()
