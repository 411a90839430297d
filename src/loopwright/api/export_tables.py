"""What each table of an export holds: the only list of its columns, and the text of its README."""

from __future__ import annotations

from typing import NamedTuple

from loopwright.api.export_forms import Column
from loopwright.job import vehicle_fields

__all__ = ["TABLES", "Table"]


class Table(NamedTuple):
    """A table: what it holds, and its columns."""

    says: str
    columns: tuple[Column, ...]


def _text(name: str, says: str) -> Column:
    return Column(name, "text", says)


def _whole(name: str, says: str) -> Column:
    return Column(name, "whole", says)


def _number(name: str, says: str) -> Column:
    return Column(name, "number", says)


_JOB = (_text("job", "id of the job"), _whole("number", "number of the job, as people call it"))
_BY_AT = (_text("by", "who"), _text("at", "when it happened, by the clock of whoever entered it"))

TABLES: dict[str, Table] = {
    "jobs": Table(
        "The jobs, one a row.",
        (
            _text("id", "id of the job"),
            _whole("number", "number of the job, as people call it"),
            _text("vehicle", "id of its vehicle"),
            _text("title", "the vehicle's name or plate"),
            _whole("closed", "1: closed"),
            _text("opened", "when it was opened"),
            _text("changed", "when something was last entered"),
            _text("verdict_before", "newest verdict of the test; empty where none was made"),
            _text("verdict_after", "newest verdict of the retest"),
        ),
    ),
    "entries": Table(
        "Everything that was entered, as it was entered, in the order of recording; nothing here was ever changed.",
        (
            _whole("seq", "number of the entry"),
            _text("id", "id of the entry, made where it was entered"),
            _text("job", "id of the job"),
            *reversed(_BY_AT),
            _text("recorded", "when the server wrote it down"),
            _text("kind", "opened, wrote, did, noted, photo, service, undid, closed, reopened"),
            _text("data", "what it says, as JSON"),
        ),
    ),
    "values": Table(
        "What stands in each field now: as it was written, and as it was understood.",
        (
            *_JOB,
            _text("test", "vehicle, before or after"),
            _text("field", "key of the field"),
            _text("name", "name of the field"),
            _text("phase", "of a reading or an observation: standing, running, after_stop"),
            _text("point", "where"),
            _text("quantity", "of a reading: pressure, temperature, ..."),
            _text("statistic", "mean, minimum or maximum"),
            _text("written", "as written"),
            _text("source", "typed, or the instrument that sent it"),
            *_BY_AT,
            _number("value", "as understood, in SI; pressures of readings absolute; empty where it was not a number"),
            _text("unit", "unit of `value` and `sigma`"),
            _number("sigma", "one standard deviation of the instrument, where the sheet gave its accuracy"),
            _text("problem", "what was wrong with it; it is then left out of the judgement"),
        ),
    ),
    "judgements": Table(
        "Every judgement kept, one a test, language and engine version.",
        (
            *_JOB,
            _text("test", "before or after"),
            _text("language", "language of its sentences"),
            _text("engine", "version of the engine"),
            _text("verdict", "performs, marginal, does_not_perform, cannot_say"),
            _text("made", "when"),
            _text("sheet", "SHA-256 hash of the sheet that was judged"),
            _text("judgement", "the judgement in its published form, as JSON; empty where this version cannot read it"),
        ),
    ),
    "vehicles": Table(
        "The vehicles, as the last job wrote about them.",
        (
            _text("id", "id of the vehicle"),
            *(_text(key, f"{field.name}, as written") for key, field in vehicle_fields().items()),
            _text("changed", "when something was last written about it"),
        ),
    ),
    "people": Table(
        "The people of the shop.",
        (
            _text("id", "id of the person"),
            _text("name", "name"),
            _text("role", "trainee, technician, trainer or owner"),
            _whole("active", "1: may sign in"),
            _text("preferences", "how the person wants to see things, as JSON"),
        ),
    ),
    "people_changes": Table(
        "Who changed what about people and settings.",
        (
            _whole("seq", "number of the line"),
            _text("at", "when"),
            _text("by", "id of who did it"),
            _text("what", "what was done"),
            _text("subject", "to whom or what"),
            _text("data", "the details, as JSON"),
        ),
    ),
    "photos": Table(
        "The photographs. Which job shows one is in `entries` (kind photo).",
        (
            _text("hash", "SHA-256 hash of the bytes"),
            _text("kind", "media type"),
            _text("made", "when it was kept"),
            _whole("size", "bytes"),
            _text("file", "where it is in this folder"),
        ),
    ),
    "ledger_movements": Table(
        "Every movement of refrigerant, one row an account; masses into the account are positive.",
        (
            _whole("entry", "number of the entry in the ledger"),
            _text("at", "when it happened"),
            _text("recorded", "when it was written down"),
            _text("act", "moved, weighed or reversed"),
            _text("account", "account"),
            _text("kind", "kind of account"),
            _text("name", "full name of the account"),
            _text("address", "its address"),
            _text("refrigerant", "refrigerant"),
            _number("mass_g", "mass into the account, g"),
            _number("uncertainty_g", "its standard uncertainty, g"),
            _text("method", "how the mass is known"),
            _text("by", "who"),
            _text("certificate", "number of that person's certificate"),
            _text("job", "the job it belongs to"),
            _text("note", "note"),
            _text("deviation", "why a rule was not kept"),
            _whole("reverses", "number of the entry it takes back"),
            _whole("reversed_by", "number of the entry that took it back"),
        ),
    ),
}
