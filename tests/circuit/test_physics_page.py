"""docs/physics.md names every module of the loop and tells the figures of docs/results, no others."""

import pkgutil
import re
from pathlib import Path

import loopwright.circuit

DOCS = Path(__file__).parents[2] / "docs"
PHYSICS = (DOCS / "physics.md").read_text(encoding="utf-8")
CONVERGENCE = (DOCS / "results" / "convergence.md").read_text(encoding="utf-8")


def test_every_module_is_described():
    for module in pkgutil.iter_modules(loopwright.circuit.__path__):
        assert f"`{module.name}.py`" in PHYSICS or f"{module.name}.py" in PHYSICS, module.name


def test_convergence_is_what_was_measured():
    lost = re.search(r"\| lost \| (\d+) \(([\d.]+) ± ", CONVERGENCE)
    said = re.search(r"\*\*lost (\d+) \(([\d.]+) %\)\*\*", PHYSICS)
    assert lost.groups() == said.groups()
    evaluations = re.search(r"median, 90 %, 99 %, most \| (\d+), \d+, (\d+), \d+", CONVERGENCE)
    told = re.search(r"a solve (\d+) in the median, (\d+) at the 99th", PHYSICS)
    assert evaluations.groups() == told.groups()


def test_links_lead_somewhere():
    for target in re.findall(r"\]\(([\w./-]+\.md)\)", PHYSICS):
        assert (DOCS / target).exists(), target
