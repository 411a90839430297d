"""From a job to a test sheet in the published form, and back from a problem in the sheet to the field on the page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from loopwright.job.fields import Field, test_fields, vehicle_fields
from loopwright.job.state import JobState, TestState

__all__ = ["Sheet", "field_of_problem", "sheet_of"]


@dataclass(frozen=True)
class Sheet:
    """A test sheet, and for each place in it the field of the job that it came from."""

    sheet: Mapping[str, Any]
    fields: Mapping[str, str]


def sheet_of(job: JobState, test: str, identity: str = "") -> Sheet:
    """Return the sheet of one test of a job, every value as it was typed.

    >>> from loopwright.job.entries import new_entry
    >>> from loopwright.job.state import derive
    >>> wrote = [("vehicle.refrigerant", "R134a"), ("before.air_temperature", "88 °F"),
    ...          ("before.running.low_side.pressure", "30 psi"), ("before.running.clutch.seen", "cycling")]
    >>> job = derive([new_entry("wrote", "Ann", "", field=field, value=value) for field, value in wrote])
    >>> found = sheet_of(job, "before")
    >>> found.sheet["weather"], found.sheet["readings"][0]["value"], found.fields["readings[0]"]
    ({'air_temperature_c': '88 °F'}, '30 psi', 'before.running.low_side.pressure')
    """
    sheet: dict[str, Any] = {"schema": 1, "id": identity, "vehicle": {}, "weather": {}, "test": {}}
    readings: list[dict[str, Any]] = []
    observations: list[dict[str, str]] = []
    fields: dict[str, str] = {}
    for key, written in job.vehicle.items():
        _place(sheet, fields, vehicle_fields()[key], f"vehicle.{key}", written.value)
    state = job.tests[test]
    for key, field in test_fields().items():  # in the order of the table, whatever the order of typing was
        if key not in state.written:
            continue
        value, name = state.written[key].value, f"{test}.{key}"
        if field.is_reading:
            fields[f"readings[{len(readings)}]"] = name
            readings.append(_reading(field, value, state))
        elif field.is_observation:
            fields[f"observations[{len(observations)}]"] = name
            kind = key.rpartition(".")[2]
            observations.append({"phase": field.phase, "point": field.point, "kind": kind, "value": value})
        else:
            _place(sheet, fields, field, name, value)
    return Sheet({**sheet, "readings": readings, "observations": observations}, fields)


_INSTRUMENT = {"pressure": "gauges", "temperature": "thermometer"}


def _place(sheet: dict[str, Any], fields: dict[str, str], field: Field, name: str, value: str) -> None:
    if field.path:
        table, _, key = field.path.partition(".")
        sheet[table][key] = value
        fields[field.path] = name


def _reading(field: Field, value: str, state: TestState) -> dict[str, Any]:
    found: dict[str, Any] = {"phase": field.phase, "point": field.point, "quantity": field.quantity, "value": value}
    instrument = state.value(_INSTRUMENT.get(field.quantity, ""))
    if field.statistic != "mean":
        found["statistic"] = field.statistic
    if instrument:
        found["instrument"] = instrument
    if field.quantity == "pressure" and (accuracy := state.value("gauge_accuracy")):
        found["accuracy"] = {"kind": "limit", "value": accuracy}
    return found


def field_of_problem(sheet: Sheet, path: str) -> str:
    """Return the job's field that a problem at `path` of the sheet is about; empty where it is about none.

    >>> field_of_problem(Sheet({}, {"readings[0]": "before.running.low_side.pressure"}), "readings[0].value")
    'before.running.low_side.pressure'
    """
    if path in sheet.fields:
        return sheet.fields[path]
    return sheet.fields.get(path.partition(".")[0], "")
