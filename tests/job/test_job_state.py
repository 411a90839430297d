"""A job from its entries: the last word counts, what was undone does not, and the order of acts is kept."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopwright.errors import InputError
from loopwright.job import Entry, acts, check, derive, new_entry, sheet_of, stages, vehicle_fields
from loopwright.job import test_fields as fields_of_a_test  # pytest would collect it under its own name
from loopwright.readings import read

AT = "2024-07-01T10:00:00Z"


def entry(kind: Any, **data: Any) -> Entry:
    return new_entry(kind, "Ann", AT, **data)


def wrote(field: str, value: str) -> Entry:
    return entry("wrote", field=field, value=value)


def test_a_value_written_again_replaces_and_an_empty_one_clears() -> None:
    low = "before.running.low_side.pressure"
    assert derive([wrote(low, "30 psi"), wrote(low, "31 psi")]).tests["before"].value(low[7:]) == "31 psi"
    assert derive([wrote(low, "30 psi"), wrote(low, "  ")]).tests["before"].value(low[7:]) == ""


def test_an_act_without_the_one_before_it_is_kept_and_said() -> None:
    early = derive([entry("did", act="hoses_off", test="before", reason="coupler jammed")]).tests["before"].done
    assert (early["hoses_off"].early, early["hoses_off"].reason) == (("valves_closed",), "coupler jammed")
    order = [entry("did", act=act, test="before") for act in ("stopped", "valves_closed", "hoses_off")]
    done = derive(order).tests["before"].done
    assert [done[act].early for act in done] == [(), (), ()]
    back = derive([*order, entry("did", act="hoses_off", test="before", done=False)]).tests["before"].done
    assert list(back) == ["stopped", "valves_closed"]


def test_before_and_after_do_not_mix() -> None:
    job = derive([wrote("before.air_temperature", "31 °C"), wrote("after.air_temperature", "29 °C")])
    assert [job.tests[test].value("air_temperature") for test in ("before", "after")] == ["31 °C", "29 °C"]


@pytest.mark.parametrize(
    ("bad", "says"),
    [
        (entry("wrote", field="vehicle.colour", value="red"), "No such field"),
        (entry("wrote", field="during.air_temperature", value="31"), "No such field"),
        (entry("wrote", field="vehicle.label"), "Not the keys"),
        (entry("wrote", field="vehicle.label", value=5), "Not text"),
        (entry("did", act="jump", test="before"), "No such act"),
        (entry("did", act="stopped", test="never"), "No such test"),
        (entry("painted", picture="x"), "No such kind"),
        (entry("noted", text="x" * 4001), "Too long"),
        (Entry("../../etc", AT, "Ann", "noted", {"text": "x"}), "No id"),
    ],
)
def test_what_no_page_of_ours_sends_is_refused(bad: Entry, says: str) -> None:
    with pytest.raises(InputError, match=says):
        check(bad)


def test_a_job_with_every_field_filled_in_makes_a_sheet_that_can_be_read() -> None:
    examples = {
        "pressure": "210 kPa",
        "temperature": "21 °C",
        "fraction": "50 %",
        "mass": "600 g",
        "volume": "150 cm3",
        "length": "250 m",
        "rotation": "1800 rpm",
        "time": "10 min",
        "air_speed": "3 m/s",
        "voltage": "13 V",
        "text": "words",
    }
    special = {"gauge_accuracy": "1 psi"}
    entries = [
        wrote(f"{room}.{key}", field.choices[0] if field.choices else special.get(key, examples[field.kind]))
        for room, fields in (("vehicle", vehicle_fields()), ("before", fields_of_a_test()))
        for key, field in fields.items()
        if field.statistic == "mean"
    ]
    entries.append(wrote("vehicle.refrigerant", "R134a"))
    for found in entries:
        check(found)
    sheet = sheet_of(derive(entries), "before")
    test = read(sheet.sheet)
    assert len(test.readings) == sum(f.is_reading and f.statistic == "mean" for f in fields_of_a_test().values())
    assert len(test.observations) == sum(f.is_observation for f in fields_of_a_test().values())
    assert {r.instrument for r in test.readings if r.quantity == "pressure"} == {"words"}
    assert {round(r.sigma or 0.0) for r in test.readings if r.quantity == "pressure"} == {3981}  # 1 psi over root 3


def test_every_act_has_its_stage_and_comes_after_acts_that_stand_before_it() -> None:
    order = list(acts())
    places = list(stages())
    for name, act in acts().items():
        assert all(order.index(one) < order.index(name) for one in act.after)
        assert all(places.index(acts()[one].stage) <= places.index(act.stage) for one in act.after)
    assert acts()["protected"].cautions, "the caution before the first cap"


@given(st.lists(st.integers(0, 30), max_size=30))
def test_undoing_in_any_order_leaves_what_no_living_undo_names(targets: list[int]) -> None:
    entries = [entry("noted", text=str(i)) for i in range(6)]
    for target in targets:
        entries.append(entry("undid", entry=entries[target % len(entries)].id))
    alive = {note.text for note in derive(entries).notes}
    counts = {e.id: True for e in entries}
    for e in reversed(entries):  # an undo counts unless a later one that counts names it
        if e.kind == "undid" and counts[e.id]:
            counts[e.data["entry"]] = False
    assert alive == {e.data["text"] for e in entries if e.kind == "noted" and counts[e.id]}
