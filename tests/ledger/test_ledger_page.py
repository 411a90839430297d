"""Every example in the docstrings of the ledger runs."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import loopwright.ledger


@pytest.mark.parametrize("name", [m.name for m in pkgutil.iter_modules(loopwright.ledger.__path__)])
def test_examples(name: str) -> None:
    result = doctest.testmod(importlib.import_module(f"loopwright.ledger.{name}"))
    assert result.failed == 0
