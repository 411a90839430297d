"""The examples in the docstrings of the loop run, and every public function has one or says what it is in words."""

import doctest
import importlib
import pkgutil

import pytest

import loopwright.circuit

MODULES = [f"loopwright.circuit.{m.name}" for m in pkgutil.iter_modules(loopwright.circuit.__path__)]
WITHOUT_EXAMPLES = {"points", "standing", "steady"}  # they take a whole circuit


@pytest.mark.parametrize("name", MODULES)
def test_examples(name):
    found = doctest.testmod(importlib.import_module(name))
    assert found.failed == 0
    # A compiled function hides its docstring from some versions of doctest: then nothing would run, and nobody notice.
    assert (found.attempted > 0) == (name.rpartition(".")[2] not in WITHOUT_EXAMPLES)


@pytest.mark.parametrize("name", MODULES)
def test_public_functions_are_documented(name):
    module = importlib.import_module(name)
    for public in module.__all__:
        value = getattr(module, public)
        assert not callable(value) or value.__doc__, public
