"""Every example in the docstrings of the ledger runs, and its page says what the cards say."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
from pathlib import Path

import pytest

import loopwright.ledger


@pytest.mark.parametrize("name", [m.name for m in pkgutil.iter_modules(loopwright.ledger.__path__)])
def test_examples(name: str) -> None:
    result = doctest.testmod(importlib.import_module(f"loopwright.ledger.{name}"))
    assert result.failed == 0


def test_the_page_is_fresh() -> None:
    from loopwright.ledger.page import refreshed

    text = (Path(__file__).parents[2] / "docs" / "ledger.md").read_text(encoding="utf-8")
    assert refreshed(text) == text, "run python -m loopwright.ledger.page docs/ledger.md"
