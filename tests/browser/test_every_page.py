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
from phone import Phone

from loopwright.api.shop import Shop
from loopwright.web.app import create_app

SEEDS = ("/", "/people", "/people/record", "/vehicles", "/calculators", "/ledger", "/export", "/settings", "/offline")
# What is no page of its own: files to take along, streams, parts; and the doors, which on this machine lead on.
NO_PAGES = re.compile(
    r"^/(api|static)/|/live$|\.(svg|png|pdf|txt|csv|json|jsonl|zip)$|^/photos/|^/worker\.js$|^/login$|^/join/|^/lookup"
)
HEAVIEST_KB = 600  # asked of the app
THUMB_PX = 48
WIDTHS = (320, 390, 1280)
MANY = 200  # pages; more would be a crawler's trap
PHONE, DESK = (390, 844), (1280, 844)
DEVICES = [
    (f"{device}, {scheme}", size, scheme)
    for device, size in (("phone", PHONE), ("desk", DESK))
    for scheme in ("light", "dark")
]

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
# A field without a label, and words that are pale where the device is dark, and there alone.
PLANTED = """() => {
  const words = document.querySelector("main").appendChild(document.createElement("p"));
  words.textContent = "Pale words";
  words.style.color = "light-dark(#222, #345)";
  words.after(document.createElement("input"));
}"""
LINKS = "() => [...document.querySelectorAll('a[href]')].map((a) => a.getAttribute('href'))"


class Walk:
    """Goes through the app page by page; `wrong` gathers what is found, so that one run tells all of it."""

    def __init__(self, phone: Phone, patterns: list[APIRoute], pictures: Path | None, whole: bool = True) -> None:
        self.phone, self.patterns, self.pictures, self.whole = phone, patterns, pictures, whole
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
        self.show(PHONE, "light")
        self.weights[kind] = self.load(address, kind)
        links: list[str] = page.evaluate(LINKS)
        page.evaluate("document.querySelectorAll('main details').forEach((fold) => { fold.open = true; })")
        self.judge(kind)
        if self.whole:
            self.measure(kind)
            self.shoot(kind)
        return links

    def measure(self, kind: str) -> None:
        """Find what a thumb would miss, and what does not fit the screen."""
        page = self.phone.page
        self.show(PHONE, "light")
        self.tell(kind, "small to touch", page.evaluate(SMALL_TARGETS, THUMB_PX))
        for width in WIDTHS:
            self.show((width, PHONE[1]), "light")
            self.tell(kind, f"wider than {width} px", page.evaluate(WIDER_THAN_THE_SCREEN))
        self.show(PHONE, "light")
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        self.tell(kind, "wider than the phone with twice the type", page.evaluate(WIDER_THAN_THE_SCREEN))
        page.evaluate("document.documentElement.style.fontSize = ''")

    def show(self, size: tuple[int, int], scheme: str) -> None:
        """Become another device, without loading the page again."""
        self.phone.page.set_viewport_size({"width": size[0], "height": size[1]})
        self.phone.page.emulate_media(color_scheme=scheme, reduced_motion="reduce")

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

    def judge(self, kind: str) -> None:
        """Let axe look at the page on every device; on two where only the words are other ones."""
        for device, size, scheme in DEVICES if self.whole else (DEVICES[0], DEVICES[-1]):
            self.show(size, scheme)
            for violation in self.axe.run(self.phone.page).response["violations"]:
                where = [node["html"][:110] for node in violation["nodes"][:3]]
                self.tell(kind, f"{device}: {violation['id']}", where)

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


def test_axe_finds_what_is_planted_on_the_device_it_is_seen_on(phone: Callable[..., Phone]) -> None:
    ann = phone()
    ann.page.goto("/settings")
    walk = Walk(ann, [], None)
    walk.judge("as it is")
    assert not walk.wrong
    ann.page.evaluate(PLANTED)
    walk.judge("planted")
    dark = [one for one in walk.wrong if "color-contrast" in one]
    assert [one.partition(": color")[0] for one in dark] == ["planted: phone, dark", "planted: desk, dark"]
    assert sum(": label: " in one for one in walk.wrong) == len(DEVICES)


def walked(phone: Phone, routes: list[APIRoute], pictures: Path | None, *, whole: bool = True) -> Walk:
    """Go through every page there is, with a judged job among them."""
    phone.page.goto("/")
    judged = phone.page.locator("a.job-line", has_text="Red wagon").first.get_attribute("href")
    phone.page.goto(str(judged))
    phone.wait_verdict()
    walk = Walk(phone, routes, pictures, whole)
    walk.go([str(judged), *SEEDS, *os.environ.get("LOOPWRIGHT_PAGES", "").split()])
    assert not walk.wrong, "\n".join(walk.wrong)
    pages = {r.path for r in routes if not NO_PAGES.search(r.path)}
    assert {walk.pattern(kind.partition("?")[0]) or kind for kind in walk.seen} >= pages
    return walk


def test_every_page(phone: Callable[..., Phone], page_routes: list[APIRoute], pictures: Path | None) -> None:
    walk = walked(phone(service_workers="block"), page_routes, pictures)
    heaviest = max(walk.weights, key=lambda kind: walk.weights[kind])
    print(f"\n> {len(walk.seen)} pages; the heaviest, {heaviest}, weighs {walk.weights[heaviest]:.0f} kB cold.")
    assert walk.weights[heaviest] < HEAVIEST_KB


def test_every_page_in_spanish(phone: Callable[..., Phone], page_routes: list[APIRoute]) -> None:
    ana = phone(service_workers="block", locale="es-ES")
    walked(ana, page_routes, None, whole=False)
    assert ana.page.evaluate("document.documentElement.lang") == "es-ES"
