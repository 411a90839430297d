"""Jobs in a database: what was entered stays, in order and once, on both databases."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
import sqlalchemy as sa

from loopwright.errors import InputError
from loopwright.job import Entry, new_entry
from loopwright.store.jobs import Jobs, KeptJudgement
from loopwright.store.migrate import downgrade, migrate

AT = "2024-07-01T10:00:00Z"


def wrote(field: str, value: str, by: str = "Ann") -> Entry:
    return new_entry("wrote", by, AT, field=field, value=value)


@pytest.fixture
def jobs(url: str) -> Jobs:
    return Jobs(url, clock=lambda: AT)


def test_a_job_tells_what_was_entered_and_a_second_sending_changes_nothing(jobs: Jobs) -> None:
    job = jobs.open("Ann")
    entries = [wrote("vehicle.refrigerant", "R134a"), wrote("before.running.low_side.pressure", "30 psi")]
    jobs.enter(job, entries)
    again = jobs.enter(job, [*entries, wrote("before.running.low_side.pressure", "31 psi", "Ben")])
    assert len(again.entries) == 4
    written = again.state.tests["before"].written["running.low_side.pressure"]
    assert (written.value, written.by) == ("31 psi", "Ben")
    assert jobs.job(job) == again
    jobs.close()


def test_undo_and_undo_of_undo(jobs: Jobs) -> None:
    job = jobs.open("Ann")
    first, second = wrote("vehicle.label", "Van"), wrote("vehicle.label", "Bus")
    undo = new_entry("undid", "Ann", AT, entry=second.id)
    jobs.enter(job, [first, second, undo])
    assert jobs.job(job).state.title == "Van"
    assert [row.title for row in jobs.jobs()] == ["Van"]
    jobs.enter(job, [new_entry("undid", "Ann", AT, entry=undo.id)])
    assert jobs.job(job).state.title == "Bus"
    jobs.close()


def test_a_vehicle_comes_back_with_its_card_and_its_history(jobs: Jobs) -> None:
    first = jobs.open("Ann")
    card = {"label": "Bakery van", "plate": "AB 12", "refrigerant": "R134a", "charge": "620 g", "odometer": "100 km"}
    jobs.enter(first, [wrote(f"vehicle.{key}", value) for key, value in card.items()])
    vehicle = jobs.job(first).vehicle
    second = jobs.open("Ben", vehicle=vehicle)
    state = jobs.job(second).state
    assert (state.vehicle_value("charge"), state.vehicle_value("odometer")) == ("620 g", "")
    assert {row.id for row in jobs.jobs(vehicle=vehicle)} == {first, second}
    assert [row.number for row in jobs.jobs("bakery 12")] == [2, 1]
    assert jobs.jobs("bakery%") == []
    assert jobs.vehicle(vehicle).card["plate"] == "AB 12"
    jobs.close()


def test_nothing_is_kept_of_a_batch_with_one_impossible_entry(jobs: Jobs) -> None:
    job = jobs.open("Ann")
    bad = [
        wrote("vehicle.label", "Van"),
        wrote("vehicle.wheels", "4"),
        new_entry("did", "Ann", AT, act="fly", test="x"),
    ]
    with pytest.raises(InputError, match="No such field"):
        jobs.enter(job, bad)
    with pytest.raises(InputError, match="Too long"):
        jobs.enter(job, [wrote("vehicle.label", "x" * 201)])
    with pytest.raises(InputError, match="no such job"):
        jobs.enter("nowhere", [wrote("vehicle.label", "Van")])
    assert len(jobs.job(job).entries) == 1
    jobs.close()


def test_the_database_refuses_to_change_an_entry(jobs: Jobs) -> None:
    job = jobs.open("Ann")
    for act in ("UPDATE shop_entry SET data = '{}'", "DELETE FROM shop_entry"):
        with jobs.engine.connect() as connection, pytest.raises(sa.exc.DBAPIError, match="append-only"):
            connection.exec_driver_sql(act)
    assert len(jobs.job(job).entries) == 1
    jobs.close()


def test_two_people_enter_at_once_and_nothing_is_lost(jobs: Jobs) -> None:
    job = jobs.open("Ann")

    def enter(person: str) -> None:
        for number in range(20):
            jobs.enter(job, [new_entry("noted", person, AT, text=f"{person} {number}")])

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(enter, ["Ann", "Ben"]))
    notes = [note.text for note in jobs.job(job).state.notes]
    assert sorted(notes) == sorted(f"{p} {n}" for p in ("Ann", "Ben") for n in range(20))
    assert [n for n in notes if n.startswith("Ann")] == [f"Ann {n}" for n in range(20)]
    jobs.close()


def test_judgements_and_photographs_are_kept(jobs: Jobs) -> None:
    job = jobs.open("Ann")
    jobs.keep_judgement(job, "before", "en", KeptJudgement("1.0", "aa", "performs", AT, "{}"))
    jobs.keep_judgement(job, "before", "en", KeptJudgement("1.0", "bb", "marginal", AT, "{}"))
    jobs.keep_judgement(job, "before", "en", KeptJudgement("1.1", "bb", "marginal", "2024-07-02T10:00:00Z", "{}"))
    kept = jobs.judgement(job, "before", "en")
    assert kept is not None
    assert (kept.engine, kept.sheet) == ("1.1", "bb")
    assert [k.sheet for k in jobs.judgements(job, "before", "en")] == ["bb", "bb"]
    assert jobs.jobs()[0].verdict_before == "marginal"
    name = jobs.add_photo("image/png", b"\x89PNG")
    assert jobs.add_photo("image/png", b"\x89PNG") == name
    assert jobs.photo(name) == ("image/png", b"\x89PNG")
    jobs.close()


def test_lists_can_be_derived_anew(jobs: Jobs) -> None:
    job = jobs.open("Ann")
    jobs.enter(job, [wrote("vehicle.label", "Van")])
    before = (jobs.jobs(), jobs.vehicles())
    with jobs.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE shop_job SET title = 'lost', search = ''")
        connection.exec_driver_sql("DELETE FROM shop_vehicle")
    jobs.rebuild()
    assert (jobs.jobs(), jobs.vehicles()) == before
    jobs.close()


def test_migrating_down_keeps_jobs_or_refuses(jobs: Jobs) -> None:
    downgrade(jobs.engine, "0003")
    migrate(jobs.engine)
    jobs.open("Ann")
    with pytest.raises(InputError, match="would lose"):
        downgrade(jobs.engine, "0003")
    assert len(jobs.jobs()) == 1
    jobs.close()
