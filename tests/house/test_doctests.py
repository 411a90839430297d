"""Every example in a docstring runs, whatever room it stands in."""

import doctest
import importlib
import pkgutil
from types import ModuleType

import pytest

import loopwright


def modules() -> list[str]:
    found = pkgutil.walk_packages(loopwright.__path__, "loopwright.")
    return sorted(m.name for m in found if not m.name.endswith(("__main__", "warm")) and ".migrations" not in m.name)


def examples(module: ModuleType) -> list[doctest.DocTest]:
    """Doctests of a module, those of compiled functions among them, which the finder alone passes over."""
    finder = doctest.DocTestFinder(exclude_empty=True)
    found = finder.find(module)
    names = {t.name for t in found}
    for name, value in vars(module).items():
        plain = getattr(value, "py_func", None)
        if plain is not None and plain.__module__ == module.__name__ and f"{module.__name__}.{name}" not in names:
            found += [
                t for t in finder.find(plain, f"{module.__name__}.{name}", globs=vars(module).copy()) if t.examples
            ]
    return [t for t in found if t.examples]


@pytest.mark.parametrize("name", modules())
def test_examples_run(name: str) -> None:
    runner = doctest.DocTestRunner(verbose=False)
    for test in examples(importlib.import_module(name)):
        assert runner.run(test).failed == 0, test.name


def test_compiled_functions_are_found() -> None:
    # If the finder stopped seeing compiled functions, nothing would run and nobody would notice.
    found = {t.name for t in examples(importlib.import_module("loopwright.circuit.compressor"))}
    assert "loopwright.circuit.compressor.volumetric_efficiency" in found
