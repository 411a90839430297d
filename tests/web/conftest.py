"""A shop app to knock on: on this machine, or on a network, with a clock that the test turns."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent.parent / "store"))  # for `databases`: one suite on both

from databases import BINARIES, MISSING, Maker, PostgresMaker, Server, SqliteMaker
from knocking import QUICK, Browser, Clock, Place

from loopwright.api.people import People
from loopwright.api.shop import Shop
from loopwright.store import connect
from loopwright.store.migrate import migrate
from loopwright.web.app import create_app
from loopwright.web.security import Serving
from loopwright.web.sessions import Limits


@pytest.fixture(scope="session")
def sqlite_copies(tmp_path_factory: pytest.TempPathFactory) -> Callable[[], str]:
    """Makes databases whose tables are up to date."""
    maker = SqliteMaker(tmp_path_factory.mktemp("web"))
    return _copies(maker)


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    if BINARIES is None:
        pytest.skip(MISSING)
    running = Server(BINARIES)
    yield running
    running.stop()


@pytest.fixture(scope="session")
def postgresql_copies(server: Server) -> Callable[[], str]:
    return _copies(PostgresMaker(server))


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest) -> str:
    """A database of each kind."""
    make: Callable[[], str] = request.getfixturevalue(f"{request.param}_copies")
    return make()


def _copies(maker: Maker) -> Callable[[], str]:
    ready = maker.empty()
    engine = connect(ready)
    migrate(engine)
    engine.dispose()
    return lambda: maker.copy(ready)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def place(sqlite_copies: Callable[[], str], clock: Clock) -> Iterator[Callable[..., Place]]:
    """Makes an app: `place()` on this machine, `place("0.0.0.0")` on a network."""
    opened: list[Place] = []

    def make(host: str = "127.0.0.1", tls: bool = False, where: str = "") -> Place:
        shop = Shop(where or sqlite_copies())
        people = People(shop.engine, clock, QUICK)
        serving = Serving(host, 8765, tls, ("shop.example",))
        app = create_app(shop, serving, people, Limits.usual(clock))
        opened.append(Place(app, people, shop, serving))
        return opened[-1]

    yield make
    for one in opened:
        one.app.state.taking.close()
        one.shop.close()


@pytest.fixture
def local(place: Callable[..., Place]) -> Browser:
    """The browser of the one person on this machine."""
    return Browser(place())


@pytest.fixture
def network(place: Callable[..., Place]) -> Place:
    """An app on a network, with one account for each role; everybody's password is in `knocking.PASSWORD`."""
    made = place("0.0.0.0")
    made.found()
    return made
