"""What may be entered: only what every page can show again and every database can keep."""

from __future__ import annotations

from typing import Any

import pytest

from loopwright.errors import InputError
from loopwright.job import Entry, check, derive

AT = "2024-07-01T10:00:00Z"

IMPOSSIBLE: list[tuple[str, dict[str, Any]]] = [
    ("noted", {"text": "a\x00b"}),
    ("noted", {"text": "half a character \ud800"}),
    ("noted", {"text": ["a"]}),
    ("noted", {"text": None}),
    ("wrote", {"field": ["vehicle.label"], "value": "Van"}),
    ("wrote", {"field": "vehicle.label", "value": 3}),
    ("wrote", {"field": "vehicle.label", "value": "Van", "source": {}}),
    ("did", {"act": ["protected"], "test": "before"}),
    ("did", {"act": "protected", "test": {"a": 1}}),
    ("did", {"act": "protected", "test": "before", "done": "yes"}),
    ("undid", {"entry": ["x"]}),
    ("photo", {"photo": 7}),
    ("service", {"event": "started"}),
    ("service", {"event": {"at": float("nan")}}),
    ("closed", {"reason": 1}),
    ("flew", {}),
]


@pytest.mark.parametrize(("kind", "data"), IMPOSSIBLE)
def test_what_no_page_could_have_made_is_refused(kind: Any, data: dict[str, Any]) -> None:
    with pytest.raises(InputError):
        check(Entry("12345678", AT, "Ann", kind, data))


def test_what_is_let_in_can_be_derived() -> None:
    let_in: list[tuple[Any, dict[str, Any]]] = [
        ("noted", {"text": "Grüße \U0001f697 \\u0000 as typed"}),
        ("undid", {"entry": "never was"}),
        ("service", {"event": {"event": "?", "at": 1.0}}),
        ("did", {"act": "protected", "test": "after", "done": False}),
        ("closed", {}),
    ]
    entries = [Entry(f"0000000{n}", AT, "Ann", kind, data) for n, (kind, data) in enumerate(let_in)]
    for entry in entries:
        check(entry)
    assert derive(entries).notes[0].text.endswith("as typed")
