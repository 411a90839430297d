"""A long batch goes to several processes, and comes back as if it had not."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from loopwright import judge_batch
from loopwright.api import many
from loopwright.diagnosis.judgement import Judgement
from loopwright.language import speaking
from loopwright.readings import Refused

SHEET = {
    "schema": 1,
    "vehicle": {"refrigerant": "R134a", "expansion": "orifice", "storage": "accumulator", "compressor": "fixed"},
    "weather": {"air_temperature_c": 27.0},
    "test": {"minutes_running": 8},
    "readings": [
        {"phase": "running", "point": "low_side", "quantity": "pressure", "value": "190 kPa"},
        {"phase": "running", "point": "high_side", "quantity": "pressure", "value": "1300 kPa"},
        {"phase": "running", "point": "vent_center", "quantity": "temperature", "value": "8 °C"},
    ],
}


def batch(count: int) -> str:
    """Sheets that differ in the vent, the second of which cannot be used."""
    sheets = [json.loads(json.dumps({**SHEET, "id": f"many-{i}"})) for i in range(count)]
    for i, sheet in enumerate(sheets):
        sheet["readings"][2]["value"] = f"{6 + i} °C"
    sheets[1]["vehicle"]["refrigerant"] = "R9999"
    return "\n".join(json.dumps(s) for s in sheets)


def timeless(answer: Judgement | Refused) -> Judgement | Refused:
    return answer if isinstance(answer, Refused) else replace(answer, seconds=0.0)


def test_processes_give_the_same_answers_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(many, "WORTH_IT", 3)
    text = batch(3)
    with speaking("es"):
        alone = list(judge_batch(text, seed=4))
        shared = list(judge_batch(text, seed=4, workers=2))
    assert [timeless(a) for a in shared] == [timeless(a) for a in alone]
    assert isinstance(shared[1], Refused)


def test_whoever_stops_reading_ends_the_processes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(many, "WORTH_IT", 3)
    ended = []
    monkeypatch.setattr(many, "end", lambda pool, end=many.end: (ended.append(pool), end(pool)))
    answers = judge_batch(batch(3), workers=2)
    next(answers)
    answers.close()  # type: ignore[attr-defined]
    assert len(ended) == 1
