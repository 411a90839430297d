"""One server and one browser for all tests here: Chromium without a window, driven from outside.

Where Chromium is missing these tests say so and are passed over; `make test` installs it where it may.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from phone import FLAGS, Phone, Served

import loopwright
from loopwright.api.demo_shop import load_demo
from loopwright.api.shop import Shop

CHROMIUM = os.environ.get("LOOPWRIGHT_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
MISSING = "Chromium is not installed here (Debian: apt-get install chromium); the pages were not tried in a browser."


# Judged here before anybody waits at a page: in a fresh checkout the compiler takes a minute or two.
COMPILES = {
    "schema": 1,
    "vehicle": {"refrigerant": "R134a", "expansion": "orifice"},
    "weather": {"air_temperature_c": 31, "relative_humidity_pct": 45},
    "readings": [{"phase": "running", "point": "low_side", "quantity": "pressure", "value": "160 kPa"}],
}


@pytest.fixture(scope="session")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The shop as `loopwright serve` starts it, on a database of its own with the demo shop in it."""
    if CHROMIUM is None:
        pytest.skip(MISSING)
    loopwright.judge(COMPILES)
    database = tmp_path_factory.mktemp("served") / "shop.sqlite"
    shop = Shop(database)
    load_demo(shop)
    shop.close()
    running = Served(database)
    yield running
    running.kill()


@pytest.fixture(scope="module")  # it keeps an event loop running in this thread, in which no other test could start one
def chromium() -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip(MISSING)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def phone(chromium: Any, served: Served) -> Iterator[Callable[..., Phone]]:
    """Makes devices, each with storage of its own: `phone()`, `phone(1280, scheme="dark")`. At the end none of them
    may have asked another host for anything, broken the content policy, or logged an error."""
    with ExitStack() as stack:
        made: list[Phone] = []

        def make(width: int = 390, height: int = 844, scheme: str = "light", **options: Any) -> Phone:
            one = Phone(chromium, options.pop("at", served.address), width, height, scheme, **options)
            stack.callback(one.context.close)
            made.append(one)
            return one

        yield make
        for one in made:
            one.was_clean()


@pytest.fixture(scope="session")
def pictures() -> Path | None:
    """Where to leave pictures of pages for people to look at, when asked (LOOPWRIGHT_PICTURES)."""
    wanted = os.environ.get("LOOPWRIGHT_PICTURES")
    if not wanted:
        return None
    Path(wanted).mkdir(parents=True, exist_ok=True)
    return Path(wanted)
