"""The whole app, put together from its pages."""

from __future__ import annotations

import importlib
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from typing import TYPE_CHECKING

from fastapi import FastAPI
from starlette.middleware.gzip import GZipMiddleware

from loopwright import __version__
from loopwright.api.at_once import AtOnce
from loopwright.api.people import People
from loopwright.api.taking import Taking
from loopwright.web import calculators_api, device, http_api, ledger_api, problems, records_api, static_files
from loopwright.web.live import Hub
from loopwright.web.security import Guard, Serving
from loopwright.web.sessions import Limits, Who

if TYPE_CHECKING:
    from loopwright.api.shop import Shop

__all__ = ["PAGES", "create_app"]

# A folder of web/pages each, with its `router`.
PAGES = (
    "login",
    "join",
    "people",
    "settings",
    "calculators",
    "job",
    "service",
    "ledger",
    "plane",
    "jobs",
    "vehicles",
    "compare",
    "report",
    "history",
    "photos",
    "export",
)


def create_app(
    shop: Shop,
    serving: Serving | None = None,
    people: People | None = None,
    limits: Limits | None = None,
    pages: tuple[str, ...] = PAGES,
) -> FastAPI:
    """Put the app together.

    Parameters
    ----------
    shop : what the pages show
    serving : how it is reached; loopback where it is not given
    people : who is who; those in the shop's database where it is not given
    limits : how often one may try to sign in
    pages : folders of web/pages
    """
    serving = serving or Serving()
    hub = Hub()
    app = FastAPI(
        title="Loopwright",
        version=__version__,
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        lifespan=_life(shop, hub),
    )
    app.state.shop, app.state.serving, app.state.hub = shop, serving, hub
    app.state.people = people or People(shop.engine)
    app.state.at_once, app.state.taking = AtOnce(), Taking(shop)
    app.state.limits = limits or Limits.usual()
    problems.install(app)
    app.include_router(static_files.router)
    app.include_router(device.router)
    app.include_router(http_api.router)
    app.include_router(records_api.router)
    app.include_router(calculators_api.router)
    app.include_router(ledger_api.router)
    for name in pages:
        app.include_router(importlib.import_module(f"loopwright.web.pages.{name}").router, include_in_schema=False)
    # The last one added stands outermost.
    app.add_middleware(Who, people=app.state.people, serving=serving)
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)
    app.add_middleware(Guard, serving=serving)
    return app


def _life(shop: Shop, hub: Hub) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    """While the app runs, what changes in the shop is told to the pages that are open."""

    @asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        hub.open()
        before, shop.changed = shop.changed, lambda job: hub.publish(f"job:{job}", {"job": job})
        try:
            yield
        finally:
            shop.changed = before
            hub.close()
            app.state.at_once.close()
            app.state.taking.close()

    return life
