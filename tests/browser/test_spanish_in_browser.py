"""Spanish takes a quarter more room than English: no page grows wider than the window, and none cuts its words off."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import urlsplit

import pytest
from phone import Phone

PAGES = ["/", "/vehicles", "/settings", "/people", "/export", "/calculators", "/calculators/foreign-gas", "/ledger"]

# What is wider than the window, and what hides a part of its own words (a box that scrolls may).
WIDE = """() => {
  const out = [];
  if (document.scrollingElement.scrollWidth > innerWidth) out.push(`page ${document.scrollingElement.scrollWidth}`);
  for (const node of document.querySelectorAll("main *, header *")) {
    const style = getComputedStyle(node);
    const hidden = style.overflowX === "hidden" || style.overflowX === "clip";
    if (hidden && node.scrollWidth > node.clientWidth + 1 && node.clientWidth > 2 && node.textContent.trim())
      out.push(`${node.className || node.tagName}: ${node.textContent.trim().slice(0, 60)}`);
  }
  return out;
}"""


@pytest.mark.parametrize("width", [390, 1280])
def test_no_page_is_too_narrow_for_spanish(phone: Callable[..., Phone], width: int) -> None:
    one = phone(width, locale="es-ES")
    one.page.goto("/")
    assert one.page.evaluate("document.documentElement.lang") == "es-ES"
    jobs = one.page.locator('a[href^="/jobs/"]').evaluate_all("nodes => nodes.map(n => n.href)")
    job = urlsplit(jobs[0]).path
    wrong = {}
    for address in [*PAGES, job, f"{job}/service", f"{job}/compare", f"{job}/history"]:
        one.page.goto(address)
        if found := one.page.evaluate(WIDE):
            wrong[address] = found
    assert wrong == {}
