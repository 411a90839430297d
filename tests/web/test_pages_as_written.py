"""Rules that every template and static file keeps, whoever writes it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from knocking import Browser

import loopwright.web
from loopwright.figures.theme import DARK, LIGHT
from loopwright.web.render import static, static_version

WEB = Path(loopwright.web.__file__).parent
TEMPLATES = sorted(WEB.rglob("*.html"))
STATIC = WEB / "static"


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: p.relative_to(WEB).as_posix())
def test_templates_hold_nothing_that_the_policy_refuses(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"\son[a-z]+\s*=", text), "an inline handler"
    assert not re.search(r"\sstyle\s*=", text), "an inline style"
    assert not re.search(r"<script(?![^>]*\bsrc=)|<style\b", text), "an inline script or style"
    assert not re.search(r"javascript:|(src|href|action)\s*=\s*[\"']?(https?:)?//", text), "another host"


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: p.relative_to(WEB).as_posix())
def test_templates_escape_what_they_show(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    # A picture made by us is the one thing that goes out as it is, and is named so.
    assert not re.search(r"\|\s*safe\b(?!_svg)|autoescape\s+false|Markup", text)


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: p.relative_to(WEB).as_posix())
def test_every_form_that_writes_carries_the_token(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    for form in re.findall(r'<form[^>]*method="post".*?</form>', text, flags=re.DOTALL):
        assert "csrf" in form, form[:120]


def test_static_files_ask_nobody_else() -> None:
    for path in STATIC.rglob("*"):
        if path.suffix in {".css", ".js", ".svg"}:
            text = path.read_text(encoding="utf-8").replace("http://www.w3.org/", "")
            assert not re.search(r"https?://", text), path.name


def test_the_colours_are_those_of_the_figures() -> None:
    css = (STATIC / "base.css").read_text(encoding="utf-8")
    light, dark_by_device, dark = re.findall(r"\{([^{}]*--paper:[^{}]*)\}", css)
    for block, theme in ((light, LIGHT), (dark_by_device, DARK), (dark, DARK)):
        found = dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", block))
        assert found == {name: getattr(theme, name) for name in found}
        assert set(found) == {"paper", "ink", "grey", "soft", "faint", "accent", "band", "high", "low"}


def _contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours (WCAG 2.2, definition of contrast ratio)."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


@pytest.mark.parametrize("theme", [LIGHT, DARK])
def test_words_can_be_read(theme: object) -> None:
    """4.5 to 1, level AA of WCAG 2.2 (success criterion 1.4.3), on paper and on what is pressed."""
    colour = vars(theme)
    for name in ("ink", "grey", "accent", "high", "low"):
        assert _contrast(colour[name], colour["paper"]) >= 4.5, name
    assert _contrast(colour["ink"], colour["faint"]) >= 4.5
    assert _contrast(colour["grey"], colour["faint"]) >= 4.5


def test_static_files_are_kept_for_ever_and_packed(local: Browser) -> None:
    for name in ("base.css", "base.js", "icon.svg", "vendor/idiomorph.min.js"):
        answer = local.get(static(name))
        assert answer.status_code == 200
        assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"
        assert answer.content == (STATIC / name).read_bytes()
    assert local.get(static("base.css")).headers["content-encoding"] == "gzip"
    assert "content-encoding" not in local.get(static("base.css"), accept_encoding="identity").headers
    assert "set-cookie" not in local.get(static("base.css")).headers
    assert local.get(static("base.js")).headers["content-type"].startswith("text/javascript")
    assert static_version() in static("base.css")


def test_a_page_weighs_little(local: Browser) -> None:
    """All that a first page loads, packed: far under the 600 kB that are allowed."""
    page = local.get("/settings")
    names = re.findall(r'(?:href|src)="(/static/[^"]+)"', page.text)
    assert len(names) >= 4
    whole = sum(int(local.get(name).headers["content-length"]) for name in names)
    assert int(page.headers["content-length"]) + whole < 60_000
