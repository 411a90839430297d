"""`loopwright serve`: the shop on this computer, or for the shop's network."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import sys
import threading
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

import typer

from loopwright.language import say

if TYPE_CHECKING:
    from fastapi import FastAPI
    from uvicorn import Server

    from loopwright.api.people import People
    from loopwright.api.shop import Shop
    from loopwright.web.security import Serving

__all__ = ["default_database", "serve_shop"]

BAD_INPUT = 2
_BACKLOG = 256
_FIRST_PAGE_S = 1.5  # the engine is loaded after the first page, so that they do not hold each other up
_AT_ONCE = 600  # connections; a class of 50 telephones opens six each at most


def default_database() -> Path:
    """Return where the shop is kept when nothing is said: the user's own data folder."""
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    return base / "loopwright" / "loopwright.sqlite"


def serve_shop(
    database: str | None, host: str, port: int, cert: Path | None, key: Path | None, names: tuple[str, ...], demo: bool
) -> int:
    """Serve until stopped; return the exit code."""
    from loopwright.api.people import People
    from loopwright.api.shop import Shop
    from loopwright.errors import InputError
    from loopwright.web.app import create_app
    from loopwright.web.security import Serving

    if (cert is None) != (key is None):
        typer.echo(say("--tls-cert and --tls-key belong together."), err=True)
        return BAD_INPUT
    where: str | Path = database or default_database()
    if isinstance(where, Path):
        where.parent.mkdir(parents=True, exist_ok=True)
    serving = Serving(host, port, cert is not None, names)
    try:
        shop = Shop(where)
    except InputError as error:
        typer.echo(str(error), err=True)
        return BAD_INPUT
    stop, warming = threading.Event(), None
    try:
        people = People(shop.engine)
        people.forget_stale()
        try:
            server = _server(create_app(shop, serving, people), serving, cert, key)
        except OSError as error:  # of TLS too
            typer.echo(say("The certificate and its key cannot be used: {error}", error=error), err=True)
            return BAD_INPUT
        listening = _listen(host, port)
        if listening is None:
            typer.echo(
                say("Port {port} of {host} is taken, or is not an address of this computer.", port=port, host=host),
                err=True,
            )
            return BAD_INPUT
        warming = threading.Timer(_FIRST_PAGE_S, shop.warm)
        warming.start()
        if demo:
            _fill(shop, stop)
        _say_where(serving, people, where, listening.getsockname()[1])
        _run(server, listening)
    finally:
        stop.set()
        if warming is not None:
            warming.cancel()
        shop.close()
    return 0


def _fill(shop: Shop, stop: threading.Event) -> None:
    """Fill an empty shop with the invented one; its tests are judged while people look at it already."""
    from loopwright.api.demo_shop import judge_demo, load_demo

    load_demo(shop)
    threading.Thread(target=judge_demo, args=(shop, stop.wait), daemon=True).start()


def _server(app: FastAPI, serving: Serving, cert: Path | None, key: Path | None) -> Server:
    import uvicorn

    config = uvicorn.Config(
        app,
        host=serving.host,
        port=serving.port,
        log_level="warning",
        access_log=False,  # addresses of invitations and searches for customers are nobody's business
        proxy_headers=False,  # nobody stands before us whose word on addresses could be trusted
        server_header=False,
        ws="none",
        limit_concurrency=_AT_ONCE,
        backlog=_BACKLOG,
        timeout_keep_alive=30,
        timeout_graceful_shutdown=2,
        ssl_certfile=cert,
        ssl_keyfile=key,
    )
    config.load()

    class Stopping(uvicorn.Server):
        """Ends what is told live when it is to stop; else it would wait for browsers to go."""

        def handle_exit(self, sig: int, frame: FrameType | None) -> None:
            app.state.hub.close()
            super().handle_exit(sig, frame)

    return Stopping(config)


def _run(server: Server, listening: socket.socket) -> None:
    """Serve until told to stop. The server raises a signal anew when it has ended; the rest is to be closed even so."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    with contextlib.suppress(KeyboardInterrupt):
        server.run(sockets=[listening])


def _listen(host: str, port: int) -> socket.socket | None:
    """A socket that is bound already, so that the address printed is the address served."""
    try:
        family, _, _, _, place = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        bound = socket.socket(family, socket.SOCK_STREAM)
        if sys.platform != "win32":  # there it would let another program take the port over
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        bound.bind(place)
    except OSError:
        return None
    return bound


def _say_where(serving: Serving, people: People, where: str | Path, port: int) -> None:
    scheme = "https" if serving.tls else "http"
    host = _reached_by(serving.host)
    address = f"{scheme}://{f'[{host}]' if ':' in host else host}:{port}/"
    typer.echo(f"{say('Records:'):<9}{_without_password(str(where))}")
    typer.echo(f"{say('Open'):<9}{address}")
    if not serving.on_network:
        typer.echo(say("Only this computer can reach it. Stop with Ctrl-C."))
        return
    secret = people.setup_link()
    if secret is not None:
        typer.echo(f"{say('Set up'):<9}{address}join/{secret}")
        typer.echo(say("This link works once, within an hour, and makes the owner's account."))
    if not serving.tls:
        typer.echo(say("Without TLS, whoever listens on this network can read passwords: see --tls-cert."))


def _reached_by(host: str) -> str:
    """An address that a telephone can open: that of this computer, where it listens on all of them."""
    if host not in ("0.0.0.0", "::"):
        return host
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # sends nothing; an address kept for documentation (RFC 5737)
            return str(probe.getsockname()[0])
        except OSError:
            return socket.gethostname()


def _without_password(where: str) -> str:
    if "://" not in where:
        return where
    scheme, _, rest = where.partition("://")
    user, at, place = rest.rpartition("@")
    return f"{scheme}://{user.partition(':')[0]}{at}{place}"
