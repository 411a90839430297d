"""The pages made from the cards are fresh: whoever changes a card makes them again, as their first lines say."""

from pathlib import Path

import pytest

from loopwright.diagnosis import checks_page
from loopwright.diagnosis.checks import checks
from loopwright.faults import catalogue, page

DOCS = Path(__file__).parents[2] / "docs"


@pytest.mark.parametrize(("module", "name"), [(page, "faults.md"), (checks_page, "checks.md")])
def test_page_is_fresh(module, name):
    assert (DOCS / name).read_text(encoding="utf-8") == module.page(), module.__doc__


def test_every_card_has_its_section():
    assert all(f"\n## {fault}\n" in page.page() for fault in catalogue())
    assert all(f"\n## {check.name}\n" in checks_page.page() for check in checks().values())
