"""The demo shop is entered as people would enter it, on both databases, and only into an empty shop."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from io import BytesIO

import pytest
from PIL import Image

from loopwright.api.demo_shop import judge_demo, load_demo
from loopwright.api.shop import Shop
from loopwright.job import TESTS
from loopwright.service.events import from_plain
from loopwright.service.procedure import derive

NOW = "2026-05-04T15:30:00Z"


@pytest.fixture
def shop(url: str) -> Iterator[Shop]:
    made = Shop(url, clock=lambda: NOW)
    yield made
    made.close()


def test_it_is_loaded_once(shop: Shop) -> None:
    made = load_demo(shop)
    rows = shop.records.jobs()
    assert made == len(rows) >= 8
    assert len(shop.records.vehicles()) == 8
    assert load_demo(shop) == 0
    assert [row.number for row in rows] == list(range(made, 0, -1))  # the newest job is the last visit


def test_every_value_in_it_can_be_read_and_every_moment_is_in_order(shop: Shop) -> None:
    load_demo(shop)
    for row in shop.records.jobs():
        stored = shop.job(row.id)
        moments = [entry.at for entry in stored.entries]
        assert moments == sorted(moments)
        assert all(datetime.fromisoformat(at) <= datetime.fromisoformat(NOW) for at in moments)
        for test in TESTS:
            if stored.state.tests[test].written:
                view = shop.view(stored, test)
                assert (view.problems, view.lacking) == ({}, ())
                assert view.test is not None
                early = [done.early for done in stored.state.tests[test].done.values()]
                assert not any(early)


def test_its_service_is_one_that_the_procedure_allows_to_its_end(shop: Shop) -> None:
    load_demo(shop)
    served = [stored for row in shop.records.jobs() if (stored := shop.job(row.id)).state.service]
    assert len(served) == 1
    state = derive([from_plain(event) for event in served[0].state.service])
    assert state.next is None
    assert not state.deviations
    assert len(served[0].state.photos) == 2
    for photo in served[0].state.photos:
        kind, content = shop.records.photo(photo.photo)
        with Image.open(BytesIO(content)) as picture:
            assert (kind, picture.format) == ("image/jpeg", "JPEG")


def test_its_tests_are_asked_for_one_at_a_time(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    load_demo(shop)
    asked: list[tuple[str, str]] = []
    busy: list[tuple[str, str]] = []

    def judge(stored: object, test: str, _language: str = "en") -> bool:
        assert not busy
        if not stored.state.tests[test].written:  # type: ignore[attr-defined]
            return False
        asked.append((stored.id, test))  # type: ignore[attr-defined]
        busy.append(asked[-1])
        return True

    def judging(job: str, test: str, _language: str = "en") -> bool:
        return (job, test) in busy

    monkeypatch.setattr(shop, "judge", judge)
    monkeypatch.setattr(shop, "judging", judging)
    assert judge_demo(shop, lambda _: bool(busy.clear())) == len(asked) == 12
    asked.clear()
    assert judge_demo(shop, lambda _: True) == 1  # told to stop while the first is under way
