"""Hoses, disconnection, recovery, oil, charge: signs, limits, refusals."""

import pytest

from loopwright.errors import InputError
from loopwright.service.charging import compare_charge, plan_charge
from loopwright.service.hoses import charging_setting, disconnection_loss, trapped_mass
from loopwright.service.leak_rate import YEAR, mass_rate, throughput
from loopwright.service.oil import balance_oil, oil_refusals
from loopwright.service.procedure import steps
from loopwright.service.recovery import DISPLAY_LIMIT, judge_recovered, recovery_share
from loopwright.service.uncertain import Uncertain, from_limits, simulate

BORE, LENGTH = Uncertain(4.8e-3, 0.05e-3), Uncertain(1.8, 0.02)


def test_real_gas_is_heavier_than_ideal():
    """R-134a at 1.5 MPa and 70 °C: ideal gas would be 53.6 kg/m3; published vapour densities are a quarter higher."""
    found = trapped_mass("R134a", BORE, LENGTH, "vapour", Uncertain(343.15), Uncertain(1.5e6))
    assert 60.0 < found.density.value < 75.0


def test_phase_that_cannot_be_is_refused():
    with pytest.raises(InputError, match="it is vapour, not liquid"):
        trapped_mass("R134a", BORE, LENGTH, "liquid", Uncertain(298.15), Uncertain(300e3))
    with pytest.raises(InputError, match="it is liquid, not vapour"):
        trapped_mass("R134a", BORE, LENGTH, "vapour", Uncertain(298.15), Uncertain(900e3))


def test_reading_within_its_error_of_saturation_is_taken():
    found = trapped_mass("R134a", BORE, LENGTH, "vapour", Uncertain(298.15, 1.0), Uncertain(680e3, 10e3))
    assert found.density.value == pytest.approx(32.35, abs=0.01)  # saturated at 25 °C


def test_uncertainty_of_trapped_mass_agrees_with_drawing():
    """JCGM 101 beside first order; 400 draws know a sigma to 3.5 %, so 12 % is over three of its own sigma."""
    T, p = Uncertain(288.15, 1.0), Uncertain(300e3, 10e3)
    first = trapped_mass("R134a", BORE, LENGTH, "vapour", T, p).mass

    def mass(d, L, T, p):
        return trapped_mass("R134a", Uncertain(d), Uncertain(L), "vapour", Uncertain(T), Uncertain(p)).mass.value

    drawn = simulate(mass, (BORE, LENGTH, T, p), draws=400)
    assert drawn.mean.sigma == pytest.approx(first.sigma, rel=0.12)


def test_carbon_dioxide_above_its_critical_point():
    found = trapped_mass("R744", BORE, LENGTH, "vapour", Uncertain(320.0), Uncertain(9e6))
    assert 200.0 < found.density.value < 700.0
    with pytest.raises(InputError):
        trapped_mass("R744", BORE, LENGTH, "liquid", Uncertain(320.0), Uncertain(9e6))


@pytest.mark.parametrize("name", ["R134a", "R1234yf", "R152a"])
def test_closing_the_coupler_first(name):
    """Common practice, no source: closed couplers lose only the coupler; the low side loses less than the high side."""
    coupler, hose = Uncertain(1e-6, 0.4e-6), Uncertain(33e-6, 2e-6)
    low = {"phase": "vapour", "temperature": Uncertain(288.15), "pressure": Uncertain(300e3)}
    high = {"phase": "vapour", "temperature": Uncertain(343.15), "pressure": Uncertain(1500e3)}
    for state in (low, high):
        closed = disconnection_loss(name, True, coupler, hose, **state)
        opened = disconnection_loss(name, False, coupler, hose, **state)
        assert opened.value == pytest.approx(34.0 * closed.value)
    assert (
        disconnection_loss(name, True, coupler, hose, **low).value
        < disconnection_loss(name, True, coupler, hose, **high).value
    )


@pytest.mark.parametrize("name", ["R134a", "R1234yf", "R152a"])
def test_hoses_recovered_until_the_gauges_read_zero_hold_next_to_nothing(name):
    """Common practice, no source: what stays in the hoses is recovered through the service hose, manifold valves open,
    until the gauges read zero, a few minutes.

    Zero on a gauge is vapour at the air's pressure: under a hundredth of the liquid that was there, less than a scale
    of 15 g can tell. The step of the procedure says it, and comes before the hoses come off.
    """
    liquid = trapped_mass(name, BORE, LENGTH, "liquid", Uncertain(298.15)).mass.value
    left = trapped_mass(name, BORE, LENGTH, "vapour", Uncertain(298.15), Uncertain(101325.0)).mass.value
    assert left < 0.01 * liquid
    assert left < 0.001
    of = {step.id: step for step in steps()}
    act = next(act for act in of["clear_hoses"].do if "service hose" in act)
    assert "manifold valves open" in act
    assert "until the gauges read zero: a few minutes" in act
    assert "clear_hoses" in of["close_out"].after


def test_hose_compensation():
    setting = charging_setting(Uncertain(0.5), Uncertain(0.002, 0.001), Uncertain(0.039, 0.002))
    assert setting.value == pytest.approx(0.537)
    assert setting.sigma == pytest.approx((0.001**2 + 0.002**2) ** 0.5)


def test_small_charge_and_tolerance():
    """A tolerance of 15 g by a scale of 15 g: rectangular limits would all meet it, the normal shape says 92 of 100."""
    plan = plan_charge(0.400, 0.015)
    assert plan.inside.value == pytest.approx(0.400)
    assert 0.90 < plan.within < 0.95
    assert plan_charge(0.400, 0.015, hoses_at_end=Uncertain(0.039, 0.01)).within < plan.within


def test_rear_system_adds():
    assert plan_charge(0.600, 0.02, rear=0.2).target == pytest.approx(0.8)


def test_charge_beside_a_performance_test():
    assert not compare_charge(Uncertain(0.5, 0.01), Uncertain(0.3, 0.04)).agrees
    assert compare_charge(Uncertain(0.5, 0.01), Uncertain(0.45, 0.04)).agrees


@pytest.mark.parametrize("bad", [{"label": 0.0}, {"label": -1.0}, {"tolerance": -0.1}, {"rear": -0.1}])
def test_charge_that_is_none(bad):
    with pytest.raises(InputError):
        plan_charge(**({"label": 0.5, "tolerance": 0.02} | bad))


def test_full_recovery_of_a_full_system_is_as_expected():
    recovered = from_limits(0.97 * 0.5, DISPLAY_LIMIT)
    found = judge_recovered(recovered, from_limits(0.5, 0.015), recovery_share(295.15))
    assert found.verdict == "as_expected"
    assert found.loss_rate is None


def test_short_and_over():
    share = recovery_share(295.15)
    assert judge_recovered(from_limits(0.3, 0.03), Uncertain(0.5), share).verdict == "short"
    assert judge_recovered(from_limits(0.6, 0.03), Uncertain(0.5), share).verdict == "over"


def test_cold_vehicle_gives_less_and_says_less():
    warm, cold = recovery_share(295.15), recovery_share(284.15)
    assert cold.value < warm.value
    assert cold.sigma > warm.sigma
    args = from_limits(0.42, 0.03), from_limits(0.5, 0.015)
    assert judge_recovered(*args, cold).missing.sigma > judge_recovered(*args, warm).missing.sigma


def test_loss_rate_needs_time_to_show():
    """One year: this weighing shows some 70 g/yr at best; ten years, 7 g/yr."""
    args = from_limits(0.48, DISPLAY_LIMIT), from_limits(0.5, 0.015), recovery_share(295.15)
    one, ten = (judge_recovered(*args, seconds_since_fill=n * YEAR).smallest_rate for n in (1, 10))
    assert one == pytest.approx(10 * ten)
    assert 0.05 < one * YEAR < 0.1


def test_recovery_refuses_what_cannot_be():
    with pytest.raises(InputError):
        judge_recovered(Uncertain(-0.1), Uncertain(0.5), Uncertain(0.97))
    with pytest.raises(InputError):
        judge_recovered(Uncertain(0.1), Uncertain(0.5), Uncertain(0.0))


def test_leak_rate_round_trip():
    for gas in ("R134a", "R1234yf", "air", "nitrogen", "helium", "R744"):
        assert throughput(mass_rate(3e-6, 293.15, gas), 293.15, gas) == pytest.approx(3e-6)


@pytest.mark.parametrize("oil", ["PAG 46", "PAG 100", "PAG 150"])
def test_never_pag_in_an_electric_compressor(oil):
    """Whatever the maker's oil is said to be, and whether it was looked up or not."""
    for maker in (None, "POE", oil):
        assert any("PAG" in text for text in oil_refusals("electric", oil, maker))
    assert not oil_refusals("fixed", oil, oil)


def test_makers_oil_only():
    assert oil_refusals("electric", "POE", "POE") == ()
    assert oil_refusals("electric", "POE", None)
    assert oil_refusals("fixed", "PAG 46", "PAG 100")
    assert oil_refusals("fixed", "PAO", None)


def test_oil_balance_adds_parts_and_uses_what_was_drained():
    recovered = from_limits(15e-6, 20e-6)
    b = balance_oil(recovered, ["condenser", "hose", "hose"], {}, "fixed", "PAG 46", "PAG 46")
    assert b.add.value == pytest.approx(15e-6 + 30e-6 + 10e-6 + 10e-6)
    drained = balance_oil(recovered, ["compressor"], {"compressor": Uncertain(60e-6)}, "fixed", "PAG 46", "PAG 46")
    assert drained.add.value == pytest.approx(75e-6)


def test_oil_refuses_unknown_parts():
    with pytest.raises(InputError, match="No such part"):
        balance_oil(Uncertain(0.0), ["radiator"], {}, "fixed", "POE")
    with pytest.raises(InputError, match="not among the parts replaced"):
        balance_oil(Uncertain(0.0), [], {"compressor": Uncertain(1e-5)}, "fixed", "POE")
