"""A job as it is kept: an append-only list of entries (who, when, what), from which everything else is derived."""

from loopwright.job.acts import Act, Stage, acts, stages
from loopwright.job.entries import TESTS, Entry, check, new_entry
from loopwright.job.fields import Field, test_field, test_fields, vehicle_fields
from loopwright.job.sheet import Sheet, field_of_problem, sheet_of
from loopwright.job.state import Done, JobState, Note, Photo, TestState, Written, derive, undone

__all__ = [
    "TESTS",
    "Act",
    "Done",
    "Entry",
    "Field",
    "JobState",
    "Note",
    "Photo",
    "Sheet",
    "Stage",
    "TestState",
    "Written",
    "acts",
    "check",
    "derive",
    "field_of_problem",
    "new_entry",
    "sheet_of",
    "stages",
    "test_field",
    "test_fields",
    "undone",
    "vehicle_fields",
]
