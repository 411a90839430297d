"""The order of a service: preconditions, timers, deviations with a reason, and what no reason excuses."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.errors import InputError
from loopwright.service.events import Deviated, Finished, Job, Noted, Opened, Started, from_plain, to_plain
from loopwright.service.procedure import add, derive, records, steps

JOB = Job("R134a", "R134a", "fixed", 0.5)
REASON = "The maker's bulletin says otherwise."
GOOD = {
    "identify": {"refrigerant_found": "R-134a", "purity": 0.995},
    "recover": {"recovered_mass": 0.42, "machine_off": "yes", "pressure_after_wait": 80e3},
    "repair": {"parts_replaced": "condenser"},
    "oil": {"oil_type": "PAG 46", "oil_added": 45e-6},
    "evacuate": {"vacuum_reached": 120.0},
    "prove_tight": {"rise_verdict": "neither"},
    "charge": {"charged_mass": 0.5},
    "clear_hoses": {},
    "retest": {"test_verdict": "performs"},
    "close_out": {"couplers_closed_first": "yes", "recovered_to": "cylinder 7", "certificate": "A-123"},
}


class Bay:
    """A job as it goes: each act some seconds after the one before."""

    def __init__(self, job=JOB):
        self.now, self.events = 0.0, add((), Opened(0.0, "Kim", job))

    def do(self, kind, step, *rest, after=1.0, **more):
        self.now += after
        self.events = add(self.events, kind(self.now, "Kim", step, *rest, **more))
        return self

    def note(self, step, records):
        for record, value in records.items():
            self.do(Noted, step, record, value)
        return self

    def through(self, *names):
        for name in names:
            self.do(Started, name).note(name, GOOD[name]).do(Finished, name, after=3600.0)
        return self

    def of(self, step):
        return derive(self.events, self.now).of(step)


def test_whole_service():
    bay = Bay().through(*GOOD)
    state = derive(bay.events)
    assert state.next is None
    assert {s.status for s in state.steps} == {"done"}
    assert state.deviations == ()


def test_order_holds():
    bay = Bay()
    for step in steps()[1:]:
        with pytest.raises(InputError, match="First: "):
            bay.do(Started, step.id)
    assert derive(bay.events).next.step.id == "identify"


@pytest.mark.parametrize(
    "records",
    [
        {"refrigerant_found": "R1234yf", "purity": 0.999},
        {"refrigerant_found": "R134a", "purity": 0.95},
    ],
)
def test_mixing_is_refused_whatever_the_reason(records):
    bay = Bay().do(Started, "identify").note("identify", records)
    with pytest.raises(InputError):
        bay.do(Finished, "identify")
    with pytest.raises(InputError, match="no reason excuses"):
        bay.do(Deviated, "identify", REASON, accepts="mixing")
    with pytest.raises(InputError, match="First: Identify"):
        bay.do(Started, "recover")


def test_machine_for_another_refrigerant_is_refused_at_once():
    with pytest.raises(InputError, match="never mix"):
        Bay(Job("R1234yf", "R134a", "electric", 0.5))


@pytest.mark.parametrize("oil", ["PAG 46", "pag 100", "P A G"])
def test_pag_in_an_electric_compressor_is_refused(oil):
    bay = Bay(Job("R134a", "R134a", "electric", 0.5)).through("identify", "recover").do(Started, "oil")
    bay.note("oil", {"oil_type": oil, "oil_added": 1e-5})
    with pytest.raises(InputError, match="insulation"):
        bay.do(Finished, "oil", after=3600.0)
    with pytest.raises(InputError, match="no reason excuses"):
        bay.do(Deviated, "oil", REASON, accepts="hurt")
    bay.note("oil", {"oil_type": "POE"}).do(Finished, "oil")
    assert bay.of("oil").status == "done"


@pytest.mark.parametrize("step", [s for s in steps() if s.hazard != "none"], ids=lambda s: s.id)
def test_no_dangerous_step_is_passed_over_silently(step):
    bay = Bay()
    done = []
    for name in GOOD:
        if name == step.id:
            break
        done.append(name)
    bay.through(*done)
    for reason, accepts in (("", step.hazard), ("ok", step.hazard), (REASON, ""), (REASON, "none")):
        with pytest.raises(InputError):
            bay.do(Deviated, step.id, reason, accepts=accepts)
    bay.do(Deviated, step.id, REASON, accepts=step.hazard)
    state = derive(bay.events)
    assert state.of(step.id).status == "deviated"
    assert [d.reason for d in state.deviations] == [REASON]


def test_nothing_is_done_with_records_missing():
    bay = Bay().do(Started, "identify").do(Noted, "identify", "purity", 0.99)
    with pytest.raises(InputError, match="Not written down: refrigerant found"):
        bay.do(Finished, "identify")


def test_timer_runs_on_and_holds():
    bay = Bay().through("identify", "recover", "repair", "oil").do(Started, "evacuate")
    bay.note("evacuate", GOOD["evacuate"])
    assert bay.of("evacuate").left == pytest.approx(1799.0)
    with pytest.raises(InputError, match="30 min"):
        bay.do(Finished, "evacuate")
    # Nobody looked for half an hour: the state is derived from the events alone.
    assert derive(bay.events, bay.now + 1000.0).of("evacuate").left == pytest.approx(798.0, abs=1.0)
    bay.do(Finished, "evacuate", after=1800.0)
    assert bay.of("evacuate").status == "done"


def test_timer_from_a_record():
    bay = Bay().through("identify").do(Started, "recover")
    bay.do(Noted, "recover", "recovered_mass", 0.4, after=2000.0)
    assert bay.of("recover").left == 300.0  # the machine still runs
    bay.do(Noted, "recover", "machine_off", "yes").do(Noted, "recover", "pressure_after_wait", 80e3)
    with pytest.raises(InputError, match="5 min"):
        bay.do(Finished, "recover")
    bay.do(Finished, "recover", after=300.0)


def test_leak_blocks_the_charge_unless_a_reason_stands():
    bay = Bay().through("identify", "recover", "repair", "oil", "evacuate").do(Started, "prove_tight")
    bay.note("prove_tight", {"rise_verdict": "leak_and_moisture"})
    with pytest.raises(InputError, match="shows a leak"):
        bay.do(Finished, "prove_tight", after=700.0)
    bay.do(Started, "repair")  # back to the repair
    state = derive(bay.events)
    assert state.of("repair").status == "open"
    assert state.of("prove_tight").status == "waiting"
    assert state.of("recover").status == "done"


def test_step_begun_anew_undoes_what_rests_on_it():
    bay = Bay().through("identify", "recover", "repair", "oil", "evacuate", "prove_tight")
    bay.do(Started, "evacuate")
    state = derive(bay.events)
    assert state.of("evacuate").status == "open"
    assert state.of("prove_tight").status == "waiting"
    assert state.of("oil").status == "done"


def test_deviation_stays_on_record_when_the_step_is_done_after_all():
    bay = Bay().do(Started, "identify").do(Deviated, "identify", REASON, accepts="mixing").through("identify")
    state = derive(bay.events)
    assert state.of("identify").status == "done"
    assert len(state.deviations) == 1


def test_time_does_not_run_back():
    bay = Bay().do(Started, "identify", after=1000.0)
    with pytest.raises(InputError, match="is the clock right"):
        add(bay.events, Noted(50.0, "Kim", "identify", "purity", 0.99))


def test_a_second_phone_whose_clock_is_behind_stops_nobody_and_no_timer():
    bay = Bay().through("identify").do(Started, "recover").do(Noted, "recover", "machine_off", "yes")
    off = bay.now
    events = add(bay.events, Noted(off - 120.0, "Lee", "recover", "recovered_mass", 0.42))
    assert derive(events).of("recover").left == 300.0
    assert derive(events, off + 100.0).of("recover").left == 200.0
    with pytest.raises(InputError, match="is the clock right"):
        add(events, Noted(off - 301.0, "Lee", "recover", "recovered_mass", 0.42))


def test_wall_clock_and_an_interruption_overnight():
    """Events as the shop keeps them, seconds since 1970, read back from JSON after the machine was off all night."""
    bay = Bay()
    bay.now = 1_795_600_000.0
    bay.events = add((), Opened(bay.now, "Kim", JOB))
    bay.through("identify", "recover", "repair", "oil").do(Started, "evacuate")
    kept = json.dumps([to_plain(event) for event in bay.events])
    events = tuple(from_plain(plain) for plain in json.loads(kept))
    assert events == bay.events
    assert derive(events, bay.now + 60.0).of("evacuate").left == pytest.approx(1740.0)
    night = derive(events, bay.now + 14 * 3600.0)
    assert night.of("evacuate").left == 0.0
    assert (night.of("oil").by, night.of("oil").ended) == ("Kim", bay.now - 1.0)
    assert derive(events, bay.now - 500.0).of("evacuate").left == 1800.0  # asked by a clock that is behind


def test_after_the_wait_a_gauge_at_altitude_must_show_nothing():
    """At 1500 m the air has 84.6 kPa: 95 kPa absolute is pressure that came back there, and vacuum at the sea."""
    for atmosphere, stands in ((101325.0, False), (84556.0, True)):
        bay = Bay(Job("R134a", "R134a", "fixed", 0.5, atmosphere=atmosphere)).through("identify")
        bay.do(Started, "recover").note("recover", GOOD["recover"] | {"pressure_after_wait": 95e3})
        assert any("came back" in says for says in bay.of("recover").against) is stands


def test_a_step_writes_down_what_is_its_own():
    with pytest.raises(InputError, match="no such thing"):
        Bay().do(Started, "identify").do(Noted, "identify", "recovered_mass", 0.4)
    assert {name for step in steps() for name in step.records} == {*records()}
    assert all((record.kind == "choice") == bool(record.choices) for record in records().values())


ALL_EVENTS = [
    Opened(0.0, "Kim", Job("R1234yf", "R-1234yf", "electric", 0.51, "blue van", 84e3)),
    Started(1.5, "Kim", "identify"),
    Noted(2.0, "Kim", "identify", "purity", 0.99),
    Noted(2.0, "Kim", "identify", "refrigerant_found", "R1234yf"),
    Finished(3.0, "Kim", "identify"),
    Deviated(4.0, "Kim", "recover", REASON, "vent"),
]


@pytest.mark.parametrize("event", ALL_EVENTS, ids=lambda e: type(e).__name__)
def test_events_survive_json(event):
    assert from_plain(json.loads(json.dumps(to_plain(event)))) == event


@pytest.mark.parametrize("event", ALL_EVENTS, ids=lambda e: type(e).__name__)
def test_no_damaged_event_is_taken(event):
    """Each field in turn is absent, or of no type that fits; every one of them is named."""
    plain = to_plain(event)
    for field in plain:
        for damage in (None, [], {}, True, float("nan")):
            with pytest.raises(InputError) as caught:
                from_plain(plain | {field: damage})
            assert caught.value.problems[0].field.split(".")[0] == field
    with pytest.raises(InputError, match="colour"):
        from_plain(plain | {"colour": "blue"})
    for nothing in ({}, [], "opened", None):
        with pytest.raises(InputError):
            from_plain(nothing)


def test_job_opens_once_and_first():
    with pytest.raises(InputError, match="No job"):
        add((), Started(0.0, "Kim", "identify"))
    with pytest.raises(InputError, match="open already"):
        add(Bay().events, Opened(1.0, "Kim", JOB))
    with pytest.raises(InputError):
        derive(())


EVENTS = st.one_of(
    st.builds(lambda s: (Started, s), st.sampled_from(list(GOOD))),
    st.builds(lambda s: (Finished, s), st.sampled_from(list(GOOD))),
    st.builds(
        lambda s, h: (Deviated, s, REASON, h),
        st.sampled_from(list(GOOD)),
        st.sampled_from(["vent", "mixing", "hurt", ""]),
    ),
    st.builds(lambda s: (Noted, s), st.sampled_from(list(GOOD))),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(EVENTS, st.floats(0.0, 3000.0)), max_size=40), st.booleans())
def test_no_path_leads_past_a_precondition(acts, electric):
    """Whatever is tried: a step begun or ended has every step before it ended, and nothing barred ever ends."""
    bay = Bay(Job("R134a", "R134a", "electric" if electric else "fixed", 0.5))
    for (kind, step, *rest), after in acts:
        try:
            if kind is Noted:
                bay.note(step, GOOD[step])
            else:
                bay.do(kind, step, *rest, after=after)
        except InputError:
            continue
        state = derive(bay.events)
        for one in state.steps:
            if one.status in ("open", "done", "deviated"):
                assert all(state.of(before).status in ("done", "deviated") for before in one.step.after)
            if one.status == "done":
                assert not one.barred
                assert set(one.step.records) <= set(one.records)
    assert derive(bay.events) == derive(tuple(bay.events))


def test_every_step_has_its_cautions_and_sources():
    from loopwright.cards import sources
    from loopwright.service.cautions import cautions

    for step in steps():
        assert set(step.source) <= set(sources())
        assert set(step.cautions) <= set(cautions())
        assert all(before in {s.id for s in steps()} for before in step.after)
        assert step.hazard == "none" or step.cautions
