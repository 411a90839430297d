"""Every page of the shop in Spanish: what is left, without what people of the shop wrote themselves, is no English."""

from __future__ import annotations

import re
import sys
import time
import tomllib
from collections.abc import Callable, Iterator
from html import unescape
from importlib.resources import files
from pathlib import Path

import pytest
from knocking import QUICK, Browser, Place

sys.path.insert(0, str(Path(__file__).parent.parent / "language"))  # for `english`

from english import english_in, texts

from loopwright.api.demo_shop import load_demo
from loopwright.api.job_report import job_report
from loopwright.api.people import People
from loopwright.api.shop import Shop
from loopwright.cards import sources
from loopwright.language import say, speaking
from loopwright.ledger.law import jurisdictions
from loopwright.report.typeset import content
from loopwright.service.sheets import CALCULATORS
from loopwright.web.app import create_app
from loopwright.web.security import Serving
from loopwright.web.sessions import Limits

SPANISH = {"accept_language": "es"}
PAGES = ["/", "/vehicles", "/people", "/people/record", "/settings", "/export", "/calculators", "/offline"]
LEDGER = [
    "",
    "/reconcile",
    "/move",
    "/open?kind=cylinder",
    "/operators",
    "/labels",
    "/verify",
    "/export",
    "/records?law=us_federal",
]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    """The demo shop, with its newest tests judged in Spanish."""
    where = tmp_path_factory.mktemp("shop") / "demo.db"
    made = Shop(f"sqlite:///{where.as_posix()}")
    load_demo(made)
    for row in made.records.jobs()[:1]:
        for test in ("before", "after"):
            if made.judge(made.job(row.id), test, "es"):
                _until(lambda row=row, test=test: not made.judging(row.id, test, "es"))
    people = People(made.engine, time.time, QUICK)
    serving = Serving("127.0.0.1", 8765, False, ())
    yield Place(create_app(made, serving, people, Limits.usual(time.time)), people, made, serving)
    made.close()


def _until(done: Callable[[], bool]) -> None:
    end = time.monotonic() + 300.0  # another machine may still have to compile
    while not done():
        assert time.monotonic() < end
        time.sleep(0.05)


@pytest.fixture(scope="module")
def theirs() -> list[str]:
    """What people wrote, and citations, which keep the language of the works; longest first."""
    card = tomllib.loads(files("loopwright.api.demo_shop").joinpath("shop.toml").read_text(encoding="utf-8"))
    found = {text for _, text in texts(card)} | {source.citation for source in sources().values()}
    found |= {rule.provision for card in jurisdictions().values() for rule in card.rules}
    return sorted(found, key=len, reverse=True)


def said(page: str, theirs: list[str]) -> str:
    """What a page says or has read aloud, without marks and without what people wrote."""
    body = re.sub(r"<(script|style)\b.*?</\1>", " ", page, flags=re.DOTALL)
    aloud = re.findall(r'\b(?:alt|title|placeholder|aria-label|data-[a-z]+-words)="([^"]*)"', body)
    text = unescape(" ".join([re.sub(r"<[^>]*>", " \n ", body), *aloud]))
    return without(text, theirs)


def without(text: str, theirs: list[str]) -> str:
    for own in theirs:
        if len(own) > 3:
            text = text.replace(own, " ")
    return text


def left(page: str, theirs: list[str]) -> list[str]:
    lines = [" ".join(line.split()) for line in said(page, theirs).splitlines()]
    return [line for line in lines if line != "in" and english_in(line)]  # a unit: inch


def addresses(shop: Place) -> Iterator[str]:
    yield from PAGES
    yield from (f"/calculators/{name}" for name in CALCULATORS)
    yield from (f"/ledger{rest}" for rest in LEDGER)
    for job in shop.shop.records.jobs():
        yield from (f"/jobs/{job.id}{rest}" for rest in ("", "?test=after", "/service", "/compare", "/history"))
        yield f"/vehicles/{job.vehicle}"


def test_pages_hold_no_english(shop: Place, theirs: list[str]) -> None:
    browser = Browser(shop)
    wrong: dict[str, list[str]] = {}
    for address in addresses(shop):
        answer = browser.get(address, **SPANISH)
        assert answer.status_code == 200, address
        assert '<html lang="es"' in answer.text, address
        if found := left(answer.text, theirs):
            wrong[address] = found
    assert wrong == {}


def test_the_report_holds_no_english(shop: Place, theirs: list[str]) -> None:
    """Nothing but citations and what people wrote; the colours and pictures of the pages hold no words."""
    for job in shop.shop.records.jobs()[:2]:
        report = job_report(shop.shop, job.id, language="es")
        with speaking("es"):
            whole = content(report)
        found = list(texts({part: whole[part] for part in ("front", "back", "words")}))
        assert len(found) > 100
        wrong = [pair for pair in found if "svg" not in pair[0] and english_in(without(pair[1], theirs))]
        assert wrong == []


def test_law_cards_hold_no_english() -> None:
    with speaking("es"):
        for card in jurisdictions().values():
            for text in (card.title, card.note, *(rule.asks for rule in card.rules)):
                assert english_in(say(text)) == [], text
