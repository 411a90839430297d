"""Everything taken away as a file: the page tells how far it is, and offers it when it is ready."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Callable

from axe_playwright_python.sync_playwright import Axe
from phone import Phone


def test_an_export_is_made_while_one_looks_on_and_then_taken(phone: Callable[..., Phone]) -> None:
    ann = phone()
    ann.page.goto("/export")
    ann.page.get_by_role("button", name="CSV").click()
    ann.page.get_by_text("The file is being made").wait_for()
    assert Axe().run(ann.page).response["violations"] == []
    with ann.page.expect_download(timeout=60_000) as coming:  # the page changes by itself
        ann.page.get_by_role("link", name="Take the file").click(timeout=60_000)
    assert Axe().run(ann.page).response["violations"] == []
    assert coming.value.suggested_filename.startswith("loopwright-csv-")
    with zipfile.ZipFile(coming.value.path()) as archive, archive.open("jobs.csv") as jobs:
        rows = list(csv.DictReader(io.TextIOWrapper(jobs, "utf-8-sig")))
    assert any(row["title"] == "Red wagon" for row in rows)
