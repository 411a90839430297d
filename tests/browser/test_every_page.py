"""Every page of the app, found by following its links: for everybody's eyes and thumbs, and of this machine only."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from fastapi.routing import APIRoute, iter_route_contexts
from phone import Phone, Served

from loopwright.api.shop import Shop
from loopwright.web.app import create_app

SEEDS = ("/", "/people", "/people/record", "/vehicles", "/calculators", "/ledger", "/export", "/settings", "/offline")
# What is no page of its own: files to take along, streams, parts; and the doors, which on this machine lead on.
NO_PAGES = re.compile(
    r"^/(api|static)/|/live$|\.(svg|png|pdf|txt|csv|json|jsonl)$|^/photos/|^/worker\.js$|^/login$|^/join/|^/lookup"
)
HEAVIEST_KB = 600  # asked of the app
THUMB_PX = 48
WIDTHS = (320, 390, 1280)
MANY = 200  # pages; more would be a crawler's trap

# Where a thumb must meet: buttons, fields, folds, and links that stand for themselves; not those within a sentence.
SMALL_TARGETS = """(least) => {
  const inSentence = (node) => node.tagName === "A" && getComputedStyle(node).display === "inline";
  const target = (node) => node.matches("input[type=radio], input[type=checkbox], input[type=file]")
    ? node.closest("label") || document.querySelector(`label[for="${node.id}"]`) || node : node;
  const found = [];
  const controls = "a[href], button, input:not([type=hidden]), select, textarea, summary";
  for (const node of document.querySelectorAll(controls)) {
    const box = target(node).getBoundingClientRect();
    if (!node.checkVisibility() || node.closest(".skip, .unseen") || !box.width || inSentence(node)) continue;
    if (box.height < least - 0.5 || box.width < least - 0.5)
      found.push(`${node.outerHTML.slice(0, 90)} ${Math.round(box.width)}x${Math.round(box.height)}`);
  }
  return found;
}"""
WIDER_THAN_THE_SCREEN = """() => {
  const room = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth <= room) return [];
  const clips = (node) => getComputedStyle(node).overflowX !== "visible";
  const scrolled = ({ parentElement: outer }) => outer && (clips(outer) || scrolled(outer));
  return [...document.querySelectorAll("body *")]
    .filter((node) => node.getBoundingClientRect().right > room + 1 && !scrolled(node))
    .slice(-3).map((node) => `${node.outerHTML.slice(0, 90)} ${Math.round(node.getBoundingClientRect().right)}`);
}"""
LINKS = "() => [...document.querySelectorAll('a[href]')].map((a) => a.getAttribute('href'))"


class Walk:
    """Goes through the app page by page; `wrong` gathers what is found, so that one run tells all of it."""

    def __init__(self, phone: Phone, patterns: list[APIRoute], pictures: Path | None) -> None:
        self.phone, self.patterns, self.pictures = phone, patterns, pictures
        self.axe = Axe()
        self.seen: set[str] = set()
        self.wrong: list[str] = []
        self.weights: dict[str, float] = {}

    def pattern(self, address: str) -> str:
        path = urlsplit(address).path
        return next((r.path for r in self.patterns if r.path_regex.fullmatch(path)), "")

    def kind(self, address: str) -> str:
        """What makes a page another one: its route and, for calculations, which; a form for each kind of account."""
        pattern = self.pattern(address)
        parts = urlsplit(address)
        if pattern == "/calculators/{name}":
            return parts.path
        if pattern == "/jobs/{job}":
            return "/jobs/{job}?test=after" if "after" in parts.query else "/jobs/{job}"
        return pattern

    def go(self, seeds: list[str]) -> None:
        waiting = list(seeds)
        while waiting and len(self.seen) < MANY:
            address = waiting.pop(0)
            kind = self.kind(address)
            if not kind or kind in self.seen or NO_PAGES.search(urlsplit(address).path):
                continue
            self.seen.add(kind)
            waiting += [link for link in self.look(address, kind) if link.startswith("/")]

    def look(self, address: str, kind: str) -> list[str]:
        page = self.phone.page
        page.set_viewport_size({"width": 390, "height": 844})
        page.emulate_media(color_scheme="light", reduced_motion="reduce")
        self.weights[kind] = self.load(address, kind)
        links: list[str] = page.evaluate(LINKS)
        page.evaluate("document.querySelectorAll('main details').forEach((fold) => { fold.open = true; })")
        self.judge(kind, "phone, light")
        self.tell(kind, "small to touch", page.evaluate(SMALL_TARGETS, THUMB_PX))
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 844})
            self.tell(kind, f"wider than {width} px", page.evaluate(WIDER_THAN_THE_SCREEN))
        page.set_viewport_size({"width": 390, "height": 844})
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        self.tell(kind, "wider than the phone with twice the type", page.evaluate(WIDER_THAN_THE_SCREEN))
        page.evaluate("document.documentElement.style.fontSize = ''")
        page.set_viewport_size({"width": 1280, "height": 844})
        page.emulate_media(color_scheme="dark", reduced_motion="reduce")
        self.judge(kind, "desk, dark")
        self.shoot(kind)
        return links

    def load(self, address: str, kind: str) -> float:
        """Load a page cold; return what came over the line, in kB."""
        parts: list[Any] = []

        def came(part: Any) -> None:
            parts.append(part)

        self.phone.page.on("response", came)
        answer = self.phone.page.goto(address)
        self.phone.page.wait_for_load_state("load")
        self.phone.page.remove_listener("response", came)
        self.tell(kind, "status", [] if answer.status == 200 else [str(answer.status)])
        return sum(_over_the_line(part) for part in parts if "/live" not in part.url) / 1000

    def judge(self, kind: str, how: str) -> None:
        for violation in self.axe.run(self.phone.page).response["violations"]:
            where = [node["html"][:110] for node in violation["nodes"][:3]]
            self.tell(kind, f"{how}: {violation['id']}", where)

    def tell(self, kind: str, what: str, found: list[str]) -> None:
        self.wrong += [f"{kind}: {what}: {one}" for one in found]

    def shoot(self, kind: str) -> None:
        """Leave pictures for people to look at, where they were asked for."""
        if self.pictures is None:
            return
        page = self.phone.page
        page.evaluate("document.querySelectorAll('main details').forEach((fold) => { fold.open = false; })")
        page.reload()
        name = re.sub(r"[^a-z0-9]+", "_", kind.lower()).strip("_") or "jobs"
        for width in (390, 1280):
            for scheme in ("light", "dark"):
                page.set_viewport_size({"width": width, "height": 844})
                page.emulate_media(color_scheme=scheme)
                page.wait_for_timeout(300)  # another picture of the plane may come
                page.screenshot(path=self.pictures / f"{name}_{width}_{scheme}.png", full_page=True)


def _over_the_line(answer: Any) -> int:
    """What an answer weighs when the browser has nothing of it yet: a file it has says its length all the same."""
    size = answer.request.sizes()
    body = max(size["responseBodySize"], int(answer.headers.get("content-length", 0)))
    return int(body + size["responseHeadersSize"])


@pytest.fixture
def page_routes(tmp_path: Path) -> Iterator[list[APIRoute]]:
    shop = Shop(tmp_path / "routes.sqlite")
    routes = [context.original_route for context in iter_route_contexts(create_app(shop).routes)]
    yield [r for r in routes if isinstance(r, APIRoute) and "GET" in r.methods]
    shop.close()


def test_every_page(
    phone: Callable[..., Phone], served: Served, page_routes: list[APIRoute], pictures: Path | None
) -> None:
    ann = phone(service_workers="block")
    ann.page.goto("/")
    judged = ann.page.locator("a.job-line", has_text="Red wagon").first.get_attribute("href")
    ann.page.goto(str(judged))
    ann.wait_verdict()
    seeds = [str(judged), *SEEDS, *os.environ.get("LOOPWRIGHT_PAGES", "").split()]
    walk = Walk(ann, page_routes, pictures)
    walk.go(seeds)
    heaviest = max(walk.weights, key=lambda kind: walk.weights[kind])
    print(f"\n> {len(walk.seen)} pages; the heaviest, {heaviest}, weighs {walk.weights[heaviest]:.0f} kB cold.")
    assert not walk.wrong, "\n".join(walk.wrong)
    assert walk.weights[heaviest] < HEAVIEST_KB
    pages = {r.path for r in page_routes if not NO_PAGES.search(r.path)}
    assert {walk.pattern(kind.partition("?")[0]) or kind for kind in walk.seen} >= pages
