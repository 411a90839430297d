"""No page says anything outside the catalogue: what is left of a template without its calls and tags holds no words."""

import re
from pathlib import Path

import pytest

import loopwright

WEB = Path(loopwright.__file__).parent / "web"
TEMPLATES = sorted(WEB.rglob("*.html"))
SCRIPTS = sorted(WEB.joinpath("static").glob("*.js"))
# Attributes that a person reads or hears.
_READ = re.compile(r"""\b(?:alt|title|placeholder|aria-label|label)="([^"]*)\"""")
_NAMES = re.compile(r"Loopwright|doctype html")


def bare_words(template: str) -> list[str]:
    """Return the words of a template that stand in no expression, no statement, no comment and no tag."""
    text = re.sub(r"\{% block width %\}.*?\{% endblock %\}", " ", template)  # the name of a style
    text = re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", " ", text, flags=re.DOTALL)
    text = re.sub(r"<!--.*?-->|<(style|script)\b.*?</\1>", " ", text, flags=re.DOTALL)
    found = _READ.findall(text)
    found.append(re.sub(r"<[^>]*>|\b[a-z-]+=\"[^\"]*\"", " ", text))  # tags, and attributes that a macro makes
    return [word for part in found for word in re.findall(r"[^\W\d_]{2,}", _NAMES.sub(" ", part))]


def test_the_look_finds_words() -> None:
    page = '<p title="Old">{{ _("Fine") }} Bare {% if x %}<img alt="{{ _("too") }}">{% endif %}</p>'
    assert bare_words(page) == ["Old", "Bare"]


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: p.relative_to(WEB).as_posix())
def test_pages_hold_no_bare_words(path: Path) -> None:
    assert bare_words(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda p: p.name)
def test_scripts_hold_no_sentences(path: Path) -> None:
    """What a script shows stands in the page's data attributes, so that it is translated there."""
    text = re.sub(r"/\*.*?\*/|(?m:^\s*//.*$)|(?m:\s//\s.*$)", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    strings = re.findall(r'"([^"\n]*)"|\'([^\'\n]*)\'|`([^`]*)`', text)
    sentences = [s for parts in strings for s in parts if re.search(r"[A-Z][a-z]+ [a-z]+ [a-z]+", s)]
    assert sentences == []
