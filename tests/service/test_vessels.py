"""Standing test for foreign gas and cylinder fill: preconditions, error budget, lowest rule, refusals."""

import datetime

import pytest

from loopwright.errors import InputError
from loopwright.service.cylinders import Cylinder, fill_limit
from loopwright.service.foreign_gas import Soak, judge_foreign_gas, liquid_present, soak_faults
from loopwright.service.properties import liquid_density, saturation_pressure, vapour_density
from loopwright.service.uncertain import Uncertain

T = 294.15
GOOD = Soak(14.0, 294.0, 294.4, liquid=True)
TODAY = datetime.date(2026, 6, 1)


def judged(excess, *, soak=GOOD, kind="cylinder", gauge=1e3, barometer=300.0, thermometer=0.3, **more):
    pressure = Uncertain(saturation_pressure("R134a", T) + excess, gauge)
    return judge_foreign_gas("R134a", kind, pressure, barometer, Uncertain(T, thermometer), soak, **more)


def test_clean_and_foul():
    assert judged(0.0).verdict == "pass"
    assert judged(80e3).verdict == "fail"


def test_near_the_limit_it_cannot_tell():
    assert judged(33e3).verdict == "cannot_tell"
    assert judged(31e3, gauge=10.0, barometer=0.0, thermometer=0.001).verdict == "pass"


def test_error_budget():
    """1 K of thermometer is 18.1 kPa of R-134a at 21 °C; gauge and barometer count as they are."""
    gauge, barometer, thermometer = judged(0.0, gauge=2e3, barometer=500.0, thermometer=1.0).shares
    assert (gauge, barometer) == (pytest.approx(2e3), pytest.approx(500.0))
    assert thermometer == pytest.approx(18.1e3, rel=0.01)


def test_poor_thermometer_takes_the_conclusion_away():
    assert judged(0.0, thermometer=1.5).verdict == "cannot_tell"


@pytest.mark.parametrize(
    ("soak", "word"),
    [
        (Soak(14.0, 294.0, 294.4, liquid=None), "not known whether liquid"),
        (Soak(14.0, 294.0, 294.4, liquid=False), "No liquid"),
        (Soak(14.0, 292.5, 295.0, liquid=True), "uneven"),
        (Soak(14.0, 294.0, 294.4, in_sun=True, liquid=True), "sun"),
        (Soak(6.0, 294.0, 294.4, liquid=True), "needs 12 h"),
        (Soak(14.0, 288.0, 288.4, liquid=True), "18.3"),
    ],
)
def test_no_conclusion_from_a_poor_soak(soak, word):
    for excess in (0.0, 80e3):  # neither good news nor bad
        found = judged(excess, soak=soak)
        assert found.verdict == "no_conclusion"
        assert any(word in reason for reason in found.reasons)


def test_pressure_below_saturation_contradicts_liquid():
    """Clean refrigerant never reads less: such a reading is no pass."""
    assert judged(-60e3).verdict == "no_conclusion"
    assert any("below saturation" in reason for reason in judged(-60e3).reasons)
    assert judged(-5e3).verdict == "pass"  # within the instruments' error


def test_vehicle_must_be_equalised_but_need_not_soak_twelve_hours():
    assert soak_faults("vehicle", Soak(3.0, 294.0, 294.4, liquid=True)) == ()
    assert judged(0.0, kind="vehicle", soak=Soak(3.0, 294.0, 294.4, liquid=True, equalised=False)).verdict == (
        "no_conclusion"
    )


def test_mass_of_air_grows_with_the_empty_space():
    volume = Uncertain(0.0122, 1e-4)
    full, low = (
        judged(34e3, volume=volume, contents=Uncertain(share * 0.0122 * liquid_density("R134a", T), 0.05)).parts
        for share in (0.8, 0.2)
    )
    assert low.value > 10.0 * full.value
    assert low.sigma > 0.0


def test_contents_that_do_not_fit_are_refused():
    with pytest.raises(InputError, match="no liquid beside vapour"):
        judged(34e3, volume=Uncertain(0.0122), contents=Uncertain(20.0))


def test_liquid_by_mass_and_volume():
    V = Uncertain(0.0122, 1e-4)
    just = vapour_density("R134a", T) * V.value
    assert liquid_present("R134a", T, V, Uncertain(2.0 * just, 0.01)) is True
    assert liquid_present("R134a", T, V, Uncertain(0.5 * just, 0.01)) is False
    assert liquid_present("R134a", T, V, Uncertain(just, 0.02)) is None


def test_unknown_refrigerant():
    with pytest.raises(InputError):
        judge_foreign_gas("R999", "cylinder", Uncertain(6e5), 0.0, Uncertain(T), GOOD)


def cylinder(**changes):
    facts = {
        "refrigerant": "R134a",
        "kind": "refillable",
        "tare": Uncertain(12.7, 0.01),
        "volume": Uncertain(21.6e-3, 1e-4),
        "gross_rating": 40.0,
        "requalified": datetime.date(2024, 3, 1),
    }
    return Cylinder(**(facts | changes))


def test_lowest_rule_wins_and_all_are_shown():
    """By hand: 80 % is 0.977 x 21.6 = 21.1 kg; 60 % of 40 is 24 kg; 55 °C 23.3 kg; the rating leaves 27.3 kg."""
    found = fill_limit(cylinder(), Uncertain(20.0, 0.05), TODAY)
    assert [rule.key for rule in found.rules] == ["liquid_80", "not_full_55", "gross_60", "gross"]
    assert found.limit.value == pytest.approx(21.1, abs=0.05)
    assert fill_limit(cylinder(gross_rating=30.0), Uncertain(20.0), TODAY).rules[0].key in ("gross_60", "gross")


def test_room_keeps_two_sigma_back():
    exact = fill_limit(cylinder(), Uncertain(20.0), TODAY)
    loose = fill_limit(cylinder(), Uncertain(20.0, 0.5), TODAY)
    assert loose.room < exact.room < exact.limit.value - 7.3


def test_disposable_is_never_filled():
    found = fill_limit(cylinder(kind="disposable"), Uncertain(13.0), TODAY)
    assert found.room == 0.0
    assert any("never refilled" in text for text in found.refusals)


@pytest.mark.parametrize("day", [datetime.date(2029, 3, 1), datetime.date(2031, 1, 1)])
def test_past_requalification(day):
    found = fill_limit(cylinder(), Uncertain(13.0), day)
    assert found.room == 0.0
    assert any("2029-03-01" in text for text in found.refusals)


def test_unknown_requalification_is_refused():
    assert fill_limit(cylinder(requalified=None), Uncertain(13.0), TODAY).refusals


def test_day_before_requalification_is_filled():
    assert not fill_limit(cylinder(), Uncertain(13.0), datetime.date(2029, 2, 28)).refusals


def test_leap_day():
    assert cylinder(requalified=datetime.date(2024, 2, 29)).due == datetime.date(2029, 3, 1)


def test_overfull_says_so():
    found = fill_limit(cylinder(), Uncertain(35.5), TODAY)
    assert found.room == 0.0
    assert any("already holds more" in text for text in found.refusals)
    assert found.full_at < 333.15


def test_lighter_than_tare():
    with pytest.raises(InputError, match="Lighter than the empty cylinder"):
        fill_limit(cylinder(), Uncertain(12.0), TODAY)


def test_carbon_dioxide_goes_by_its_filling_density():
    found = fill_limit(cylinder(refrigerant="R744", gross_rating=None), Uncertain(13.0), TODAY)
    assert {rule.key for rule in found.rules} == {"liquid_80", "filling_density"}
