"""The service of a job: its order kept, what nobody may pass over refused, timers by the wall, grams in the ledger."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from html import unescape
from itertools import count
from typing import Any
from uuid import uuid4

import pytest
from knocking import Browser, Place, words

from loopwright.api.ledger import Ledger
from loopwright.api.service_job import admit, replay
from loopwright.api.service_ledger import vehicle_account
from loopwright.api.shop import Entry
from loopwright.service.procedure import derive

OPENING = {"refrigerant": "R-134a", "machine_refrigerant": "R134a", "compressor": "fixed", "charge": "500 g"}
HOSTILE = '<script>alert("x")</script>'


class Bay:
    """One phone in the bay, with a job whose vehicle is known."""

    def __init__(self, place: Place, signed_in: str = "") -> None:
        self.place = place
        self.browser = Browser(place, signed_in=signed_in)
        self.job = place.shop.open_job("Ann")
        known = {"vehicle.refrigerant": "R134a", "vehicle.charge": "500 g", "vehicle.label": HOSTILE}
        place.shop.write(self.job, "Ann", known)
        self.page = f"/jobs/{self.job}/service"
        self.numbers = count()

    def text(self) -> str:
        answer = self.browser.get(self.page)
        assert answer.status_code == 200
        return str(answer.text)

    def send(self, *events: dict[str, Any], at: float | None = None, csrf: str | None = None) -> Any:
        stamp = {} if at is None else {"at": at}
        entries = [
            {"id": f"{self.job[:8]}-{next(self.numbers):04}", "at": "2026-11-25T10:00:00Z", "kind": "service"}
            | {"data": {"event": {**event, **stamp}}}
            for event in events
        ]
        return self._json(f"/jobs/{self.job}/entries", {"entries": entries}, csrf)

    def book(self, csrf: str | None = None, **movement: str) -> Any:
        sent = {"key": uuid4().hex, "limit": "", "deviation": "", "method": "machine", **movement}
        return self._json(f"{self.page}/ledger", {"movement": sent}, csrf)

    def _json(self, path: str, body: Any, csrf: str | None) -> Any:
        token = self.browser.token(self.page) if csrf is None else csrf
        headers = {"x-csrf-token": token, "accept": "application/json", "origin": self.browser.base}
        return self.browser.client.post(path, json=body, headers=headers)

    def done(self, step: str, **records: str) -> Any:
        noted = [{"event": "noted", "step": step, "record": key, "written": value} for key, value in records.items()]
        return self.send({"event": "started", "step": step}, *noted, {"event": "finished", "step": step})

    def status(self, step: str) -> str:
        found = re.search(rf'data-step="{step}" data-status="(\w+)"', self.text())
        assert found
        return found[1]

    @property
    def vehicle(self) -> str:
        return vehicle_account(self.place.shop.job(self.job).vehicle)


@pytest.fixture
def bay(place: Callable[..., Place]) -> Bay:
    return Bay(place())


@pytest.fixture
def opened(bay: Bay) -> Bay:
    assert bay.send({"event": "opened", "written": OPENING}).status_code == 200
    return bay


@pytest.fixture
def identified(opened: Bay) -> Bay:
    assert opened.done("identify", refrigerant_found="R134a", purity="99.5 %").status_code == 200
    return opened


def says(answer: Any) -> str:
    assert answer.status_code == 422, answer.text
    return " ".join(problem["says"] for problem in answer.json()["problems"])


def test_a_service_is_opened_with_what_the_job_knows(bay: Bay) -> None:
    text = bay.text()
    assert re.search(r'name="refrigerant" value="R134a" checked', text)
    assert 'name="charge" value="500 g"' in text
    answer = bay.send({"event": "opened", "written": {**OPENING, "machine_refrigerant": "R1234yf"}})
    assert says(answer) == "The machine is for another refrigerant: never mix."
    assert bay.send({"event": "opened", "written": OPENING}).status_code == 200
    assert bay.status("identify") == "ready"
    assert bay.status("recover") == "waiting"


def test_an_opening_gathers_what_is_wrong(bay: Bay) -> None:
    answer = bay.send({"event": "opened", "written": {"refrigerant": "gas", "charge": "lots", "compressor": "big"}})
    fields = {problem["field"] for problem in answer.json()["problems"]}
    assert answer.status_code == 422
    assert fields == {"refrigerant", "machine_refrigerant", "charge", "compressor"}
    assert "500 kg" not in bay.text()
    far = bay.send({"event": "opened", "written": {**OPENING, "charge": "500 kg"}})
    assert says(far) == "Out of range: a slip, or another unit?"


def test_steps_come_in_their_order(opened: Bay) -> None:
    assert says(opened.send({"event": "started", "step": "charge"})) == "First: Prove it tight."
    assert opened.status("charge") == "waiting"


def test_what_no_reason_excuses_is_refused(opened: Bay) -> None:
    opened.send({"event": "started", "step": "identify"})
    for record, value in (("refrigerant_found", "R1234yf"), ("purity", "99.5 %")):
        assert (
            opened.send({"event": "noted", "step": "identify", "record": record, "written": value}).status_code == 200
        )
    assert "never mix" in says(opened.send({"event": "finished", "step": "identify"}))
    over = {"event": "deviated", "step": "identify", "reason": "the customer is in a hurry", "accepts": "mixing"}
    assert "The vehicle does not hold what its label says" in says(opened.send(over))
    assert opened.status("identify") == "open"


def test_a_deviation_needs_its_reason_and_its_hazard(identified: Bay) -> None:
    assert "A deviation needs its reason." in says(
        identified.send({"event": "deviated", "step": "recover", "reason": "ok", "accepts": "vent"})
    )
    reason = f"the hoses leak, done elsewhere {HOSTILE}"
    assert "vent refrigerant" in says(identified.send({"event": "deviated", "step": "recover", "reason": reason}))
    accepted = {"event": "deviated", "step": "recover", "reason": reason, "accepts": "vent"}
    assert identified.send(accepted).status_code == 200
    text = identified.text()
    assert identified.status("recover") == "deviated"
    assert HOSTILE not in text
    assert "Done otherwise than written" in text
    assert "done elsewhere" in text


def test_records_are_kept_as_written_and_as_understood(identified: Bay) -> None:
    identified.send({"event": "started", "step": "recover"})
    sent = {"event": "noted", "step": "recover", "record": "recovered_mass", "written": "1 lb"}
    assert identified.send(sent).status_code == 200
    last = identified.place.shop.job(identified.job).state.service[-1]
    assert last["written"] == "1 lb"
    assert last["value"] == pytest.approx(0.45359237)  # the pound of 1959, exact
    assert 'name="recover-recovered_mass" value="1"' in identified.text()
    wrong = identified.send({**sent, "written": "a lot"})
    assert says(wrong) == "Not a number."
    assert wrong.json()["problems"][0]["field"] == "recovered_mass"


def test_a_gauge_reads_against_the_local_air(identified: Bay) -> None:
    """Recovery ends 102 mm Hg below the atmosphere (40 CFR 82 Subpart B, Appendix A); at 1600 m that is 69.8 kPa."""
    identified.send({"event": "started", "step": "recover"})
    noted = {"event": "noted", "step": "recover", "record": "pressure_after_wait", "written": "-102 mmHg"}
    assert identified.send(noted).status_code == 200
    value = identified.place.shop.job(identified.job).state.service[-1]["value"]
    assert value == pytest.approx(101325.0 - 102 * 133.322, rel=1e-4)  # conventional mmHg, NIST SP 811


def ago(bay: Bay, seconds: float) -> float:
    return datetime.fromisoformat(bay.place.shop.clock()).timestamp() - seconds


def identified_ago(bay: Bay, seconds: float) -> float:
    """Open and identify so long ago; return the moment."""
    began = ago(bay, seconds)
    records = (("refrigerant_found", "R134a"), ("purity", "99.5 %"))
    noted = [{"event": "noted", "step": "identify", "record": key, "written": value} for key, value in records]
    ends = {"event": "finished", "step": "identify"}
    events = [{"event": "opened", "written": OPENING}, {"event": "started", "step": "identify"}, *noted, ends]
    assert bay.send(*events, at=began).status_code == 200
    return began


def test_timers_run_on_by_the_clock_of_the_events(bay: Bay) -> None:
    began = identified_ago(bay, 1000.0)
    bay.send({"event": "started", "step": "recover"}, at=began)
    for record, value in (("recovered_mass", "420 g"), ("machine_off", "yes"), ("pressure_after_wait", "-20 inHg")):
        bay.send({"event": "noted", "step": "recover", "record": record, "written": value}, at=began + 10.0)
    timer = re.search(r'id="timer-recover" data-seconds="300" data-since="([\d.]+)"', bay.text())
    assert timer
    assert float(timer[1]) == pytest.approx(began + 10.0)
    early = bay.send({"event": "finished", "step": "recover"}, at=began + 200.0)
    assert "5 min with the machine off" in says(early)
    assert bay.send({"event": "finished", "step": "recover"}, at=began + 320.0).status_code == 200
    assert bay.status("recover") == "done"


WHOLE: tuple[tuple[str, float, dict[str, str]], ...] = (  # step, minutes that its records come after its start
    ("recover", 0.0, {"recovered_mass": "420 g", "machine_off": "yes", "pressure_after_wait": "-20 inHg"}),
    ("repair", 1.0, {"parts_replaced": "none"}),
    ("oil", 1.0, {"oil_type": "PAG 46", "oil_added": "20 mL"}),
    ("evacuate", 31.0, {"vacuum_reached": "500 micron"}),
    ("prove_tight", 11.0, {"rise_verdict": "neither"}),
    ("charge", 5.0, {"charged_mass": "1 lb 1.6 oz"}),
    ("clear_hoses", 3.0, {}),
    ("retest", 15.0, {"test_verdict": "performs"}),
    ("close_out", 2.0, {"couplers_closed_first": "yes", "recovered_to": "C-04", "certificate": "0001"}),
)


def test_a_whole_service_comes_to_its_end(bay: Bay) -> None:
    at = identified_ago(bay, 3 * 3600.0)
    for step, minutes, records in WHOLE:
        noted = [{"event": "noted", "step": step, "record": key, "written": value} for key, value in records.items()]
        assert bay.send({"event": "started", "step": step}, at=at).status_code == 200
        assert bay.send(*noted, at=at + 60.0 * minutes).status_code == 200
        at += 60.0 * max(minutes, 6.0)
        ended = bay.send({"event": "finished", "step": step}, at=at)
        assert ended.status_code == 200, ended.text
    said = words(bay.text())
    assert "All steps are done." in said
    assert "1 lb 1.6 oz" in said
    assert "Done otherwise than written" not in said
    vacuum = derive(replay(bay.place.shop.job(bay.job).state.service).events).of("evacuate").records["vacuum_reached"]
    assert vacuum == pytest.approx(66.66, abs=0.01)  # 500 micron, each 1/760000 of 101325 Pa
    assert bay.send({"event": "started", "step": "evacuate"}).status_code == 200  # anew: what rests on it waits again
    assert (bay.status("evacuate"), bay.status("charge"), bay.status("repair")) == ("open", "waiting", "done")


def test_no_clock_is_believed_that_is_ahead(identified: Bay) -> None:
    identified.send({"event": "started", "step": "recover"}, at=4e9)
    last = identified.place.shop.job(identified.job).state.service[-1]
    assert last["at"] <= datetime.fromisoformat(identified.place.shop.clock()).timestamp()


@pytest.mark.parametrize("at", [float("1e400"), "soon", None, True, [1]])
def test_an_event_without_a_moment_happens_now(identified: Bay, at: Any) -> None:
    plain = {"event": "started", "step": "recover", "by": "somebody else", "at": at}
    stored = identified.place.shop.job(identified.job)
    entry = Entry("abcdefgh-1", "2026-11-25T10:00:00Z", "Ann", "service", {"event": plain})
    made = admit(stored, [entry], identified.place.shop.clock())[0].data["event"]
    assert made["by"] == "Ann"  # who entered it, whatever it says
    assert made["at"] == pytest.approx(datetime.fromisoformat(identified.place.shop.clock()).timestamp(), abs=5.0)


def test_what_a_phone_kept_for_an_hour_takes_its_place(bay: Bay) -> None:
    """One phone had no connection while another went on: its events stand where they happened."""
    identified_ago(bay, 7200.0)
    over = {"event": "deviated", "step": "recover", "reason": "recovered by another shop", "accepts": "vent"}
    assert bay.send(over, at=ago(bay, 60.0)).status_code == 200
    late = ago(bay, 3600.0)
    mass = {"event": "noted", "step": "recover", "record": "recovered_mass", "written": "420 g"}
    assert bay.send({"event": "started", "step": "recover"}, mass, at=late).status_code == 200
    kept = replay(bay.place.shop.job(bay.job).state.service)
    assert kept.left_out == ()
    assert [event.at for event in kept.events] == sorted(event.at for event in kept.events)
    recover = derive(kept.events).of("recover")
    assert (recover.status, recover.records["recovered_mass"]) == ("deviated", pytest.approx(0.42))


def test_what_does_not_fit_any_more_is_shown_and_not_counted() -> None:
    served = {"refrigerant": "R134a", "machine_refrigerant": "R134a", "compressor": "fixed", "label_charge": 0.5}
    opening = {"event": "opened", "at": 0.0, "by": "Ann", "job": served}
    finished = {"event": "finished", "at": 5.0, "by": "Bo", "step": "identify"}
    kept = replay([opening, finished, {"event": "dreamt"}])
    assert [one.says for one in kept.left_out] == ["Not an event of a job.", "Start the step first."]
    assert derive(kept.events).next is not None


def test_the_same_event_sent_again_is_kept_once(identified: Bay) -> None:
    started = {"event": "started", "step": "recover"}
    first = next(identified.numbers)
    identified.numbers = iter([first, first])  # type: ignore[assignment]
    before = identified.send(started).json()["entries"]
    assert identified.send(started).json()["entries"] == before


def test_events_need_the_pages_token(opened: Bay) -> None:
    assert opened.send({"event": "started", "step": "identify"}, csrf="forged").status_code == 403
    assert opened.book(csrf="forged", source="a", target="b", mass="1").status_code == 403
    assert opened.status("identify") == "ready"


def test_what_is_typed_is_shown_and_never_run(opened: Bay) -> None:
    opened.send({"event": "started", "step": "identify"})
    noted = {"event": "noted", "step": "identify", "record": "refrigerant_found", "written": HOSTILE}
    assert opened.send(noted).status_code == 200
    text = opened.text()
    assert HOSTILE not in text
    assert "&lt;script&gt;" in text


def test_cautions_stand_at_the_act_and_sources_say_how_they_came(opened: Bay) -> None:
    said = words(opened.text())
    assert "Before the first cap: Goggles and gloves on" in said
    assert "common practice, no source" in said
    assert "R134a · label 500 g" in said


def test_an_unknown_job_is_not_found(place: Callable[..., Place]) -> None:
    assert Browser(place()).get("/jobs/nowhere/service").status_code == 404


# --- the refrigerant


def stocked(bay: Bay) -> Ledger:
    ledger = Ledger(bay.place.shop.engine, by="Ann")
    ledger.start()
    ledger.open("Supplier", "supplier")
    for name, state in (("New 1", "virgin"), ("Out 1", "recovered")):
        ledger.open_cylinder(name, "R134a", state, tare_mg=5_000_000, water_capacity_mg=12_000_000)  # type: ignore[arg-type]
    ledger.move("Supplier", "New 1", mass_mg=9_000_000, uncertainty_mg=9_000)
    return ledger


def test_recovered_and_charged_go_to_the_ledger_under_the_jobs_number(identified: Bay) -> None:
    ledger = stocked(identified)
    vehicle = identified.vehicle
    assert identified.book(source=vehicle, target="Out 1", mass="420 g").status_code == 200
    assert ledger.holdings("Out 1")["R134a"].mass_mg == 420_000
    assert ledger.holdings("outside")["R134a"].mass_mg == -420_000  # it came with the vehicle
    assert identified.book(source="New 1", target=vehicle, mass="500", method="scale").status_code == 200
    assert ledger.holdings(vehicle)["R134a"].mass_mg == 500_000
    number = str(identified.place.shop.job(identified.job).number)
    assert {line.entry.job for line in ledger.history("Out 1")} == {number}
    # 15 g either way by the scale (SAE J2788, as printed in 40 CFR 82 Subpart B, Appendix C), all of it alike likely.
    assert ledger.history("New 1", 1)[0].entry.legs[0].variance_mg2 == round(15_000 / 3**0.5) ** 2
    said = words(identified.text())
    assert "Booked: 420.0 g, the vehicle to Out 1" in said
    assert "By the books the vehicle holds 500.0 ±" in said
    assert ledger.account(vehicle).name == HOSTILE  # kept as it is
    assert ledger.verify().sound


def test_what_the_books_still_see_in_an_emptied_vehicle_escaped(identified: Bay) -> None:
    ledger = stocked(identified)
    assert identified.book(source=identified.vehicle, target="Out 1", mass="420 g").status_code == 200
    assert "more went in than came out" not in words(identified.text())
    ledger.move("New 1", identified.vehicle, mass_mg=500_000, uncertainty_mg=9_000)  # the visit before
    assert identified.book(source=identified.vehicle, target="Out 1", mass="300 g").status_code == 200
    text = identified.text()
    assert "By the books 200.0 g more went in than came out." in words(text)
    address = re.search(r'href="(/ledger/move\?[^"]*)"', text)
    assert address
    form = identified.browser.get(unescape(address[1])).text
    assert 'name="mass" value="200 g"' in form
    assert re.search(r'value="atmosphere" selected', form)
    assert re.search(r'value="estimate" checked', form)


def test_a_movement_sent_again_is_booked_once(identified: Bay) -> None:
    ledger = stocked(identified)
    sent = {"source": identified.vehicle, "target": "Out 1", "mass": "420 g", "key": "a" * 32}
    first, second = identified.book(**sent), identified.book(**sent)
    assert first.json() == second.json()
    assert ledger.holdings("Out 1")["R134a"].mass_mg == 420_000


def test_the_ledgers_refusal_reaches_the_page(identified: Bay) -> None:
    ledger = stocked(identified)
    full = identified.book(source=identified.vehicle, target="Out 1", mass="11.9 kg")
    assert "It would be overfilled" in says(full)
    assert [problem["field"] for problem in full.json()["problems"]] == ["deviation"]
    impure = identified.book(source=identified.vehicle, target="New 1", mass="420 g")
    assert "no longer virgin" in says(impure)
    assert "R134a" not in ledger.holdings("Out 1")
    assert "outside" not in {line.entry.note for line in ledger.history("outside")}
    assert identified.vehicle not in [account for account, _ in ledger.balances()]  # nothing came without going on


@pytest.mark.parametrize(
    ("wrong", "what"),
    [
        ({"mass": "much"}, "Not a number."),
        ({"mass": "0 g"}, "Nothing moves."),
        ({"mass": "-5 g"}, "Nothing moves."),
        ({"method": "guess"}, "Not one of the choices."),
        ({"limit": "wide"}, "Not a number."),
        ({"target": "Nowhere"}, "There is no such account."),
    ],
)
def test_a_movement_that_cannot_be_read_says_so(identified: Bay, wrong: dict[str, str], what: str) -> None:
    stocked(identified)
    sent = {"source": identified.vehicle, "target": "Out 1", "mass": "420 g"}
    assert what in says(identified.book(**{**sent, **wrong}))


def test_a_movement_without_its_key_is_refused(identified: Bay) -> None:
    assert identified.book(key="", source="a", target="b", mass="1").status_code == 422
    assert identified.book(key="x" * 300, source="a", target="b", mass="1").status_code == 422


def test_nothing_is_booked_before_the_service_is_open(bay: Bay) -> None:
    assert says(bay.book(source="a", target="b", mass="1")) == "No service is open."


def test_a_trainee_works_and_a_technician_books(place: Callable[..., Place]) -> None:
    made = place("0.0.0.0")
    made.found()
    trainee = Bay(made, signed_in="Tia")
    assert trainee.send({"event": "opened", "written": OPENING}).status_code == 200
    assert trainee.book(source="a", target="b", mass="1").status_code == 403
    stocked(trainee)
    text = trainee.text()
    assert "A technician books it." in text
    assert "data-book=" not in text
    technician = Bay(made, signed_in="Ted")
    technician.send({"event": "opened", "written": OPENING})
    assert technician.book(source=technician.vehicle, target="Out 1", mass="420 g").status_code == 200
    last = made.shop.job(trainee.job).state.service[-1]
    assert last["by"] == "Tia"


def test_strangers_see_no_service(place: Callable[..., Place]) -> None:
    made = place("0.0.0.0")
    job = made.shop.open_job("Ann")
    assert Browser(made).get(f"/jobs/{job}/service").status_code == 303


def test_the_report_of_a_served_job_can_be_made(identified: Bay) -> None:
    from loopwright.api.service_job import written_records

    assert written_records(identified.place.shop.job(identified.job)) == {
        "refrigerant_found": "R134a",
        "purity": "99.5 %",
    }
