"""What each fault does to a loop, and how bad it is drawn."""

from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq

from .cars import Vehicle
from .loop import Car, State
from .parts import compressor
from .properties import HV, RL, RV, Fluid, density, load, psat, sat

FAULTS = (
    "undercharge", "overcharge", "non_condensable_gas", "condenser_airflow_loss", "evaporator_airflow_loss",
    "high_side_restriction", "expansion_restricted", "expansion_stuck_open", "compressor_worn", "compressor_low_stroke",
    "compressor_not_driven", "suction_restriction", "warm_air_mixing", "gauge_error", "excess_oil",
    "contaminated_refrigerant",
)  # fmt: skip
CONTAMINANTS = {
    "R134a": (("n-Propane", 0.05, 0.35), ("IsoButane", 0.08, 0.4), ("R22", 0.1, 0.5), ("R12", 0.1, 0.5),
              ("R152A", 0.15, 0.5), ("R1234yf", 0.15, 0.5)),
    "R1234yf": (("n-Propane", 0.05, 0.35), ("R134a", 0.15, 0.6), ("R22", 0.1, 0.5), ("R152A", 0.15, 0.5)),
}  # fmt: skip


class Bent(NamedTuple):
    """A loop with its fault in it, and what else of the fault shows outside the loop."""

    car: Car
    fluid: Fluid
    quantity: str | None
    value: float | None
    point: str | None = None
    heater_share: float = 0.0
    offset: float = 0.0  # Pa on the gauge at `point`
    standing_gas: float = 0.0  # kg
    note: str | None = None


def internal_volume(c: Car) -> float:
    """Whole volume that refrigerant can fill, m3."""
    pipes = 0.7854 * (
        c.line_bore_d**2 * c.line_length_d + c.line_bore_l**2 * c.line_length_l + c.line_bore_s**2 * c.line_length_s
    )
    return c.cond_volume + c.evap_volume + c.rec_volume + c.acc_volume + c.other_volume + pipes


def _charge(rng: np.random.Generator, v: Vehicle, c: Car, f: Fluid, low: float, high: float) -> Bent:
    share = rng.uniform(low, high)
    return Bent(c._replace(charge=v.design.charge * share), f, "charge_fraction", share)


def _gas(rng: np.random.Generator, v: Vehicle, c: Car, f: Fluid) -> Bent:
    vapour = internal_volume(c) * 0.75
    mass = rng.uniform(2.5e4, 2.2e5) * vapour / (287.05 * 298.0)
    shared = 0.85 if c.orifice < 0.5 else 0.7  # the rest rides on the low side and in the accumulator
    return Bent(c._replace(gas=mass * shared), f, "foreign_gas_g", mass * 1e3, standing_gas=mass)


def _worn(rng: np.random.Generator, c: Car, f: Fluid, s: State, hs: float) -> Bent:
    share = rng.uniform(0.35, 0.92)
    m0 = compressor(f, c, s.ps, hs, s.pd, s.stroke, s.speed)[0]

    def miss(ln_area: float) -> float:
        return (
            compressor(f, c._replace(leak_area=float(np.exp(ln_area))), s.ps, hs, s.pd, s.stroke, s.speed)[0] / m0
            - share
        )

    area = float(np.exp(brentq(miss, np.log(c.leak_area), np.log(c.leak_area * 300.0), xtol=1e-4)))
    return Bent(c._replace(leak_area=area), f, "flow_fraction", share)


def _expansion(rng: np.random.Generator, c: Car, f: Fluid, stuck_open: bool) -> Bent:
    if c.orifice > 0.5:
        share = rng.uniform(1.25, 2.2) if stuck_open else rng.uniform(0.3, 0.85)
        return Bent(c._replace(area_fraction=share), f, "area_fraction", share)
    share = rng.uniform(0.75, 1.15) if stuck_open else rng.uniform(0.08, 0.5)
    return Bent(c._replace(stuck=share) if stuck_open else c._replace(area_fraction=share), f, "area_fraction", share)


def _gauge(rng: np.random.Generator, c: Car, f: Fluid) -> Bent:
    low = rng.random() < 0.5
    size = rng.uniform(25e3, 120e3) if low else rng.uniform(100e3, 450e3)
    offset = float(size * rng.choice([-1.0, 1.0]))
    return Bent(c, f, "gauge_offset", offset / 1e3, "low_side" if low else "high_side", offset=offset)


def _oil(rng: np.random.Generator, c: Car, f: Fluid) -> Bent:
    oil = rng.uniform(0.06, 0.17)
    extra = 1.5e-3 * (oil - c.oil)  # m3, in proportion
    return Bent(
        c._replace(
            oil=oil, oil_extra=0.5 * extra, rec_volume=max(c.rec_volume - 0.3 * extra, 0.4 * c.rec_volume),
            dissolved=c.dissolved + 130.0 * extra, torque=c.torque * (1.0 + 2.0 * (oil - c.oil)),
        ), f, "oil_fraction", oil,
    )  # fmt: skip


def _contaminated(rng: np.random.Generator, v: Vehicle, c: Car) -> Bent:
    options = CONTAMINANTS[v.refrigerant]
    other, low, high = options[int(rng.integers(len(options)))]
    share = float(np.round(rng.uniform(low, high) / 0.05) * 0.05)
    fluid = load(v.refrigerant, other, share)
    return Bent(c._replace(htc_factor=1.0 - 0.35 * share), fluid, "foreign_fraction", share, note=other)


def bend(rng: np.random.Generator, fault: str, v: Vehicle, c: Car, f: Fluid, healthy: State, hs: float) -> Bent:
    """Put one fault in; `healthy` is the same vehicle's healthy state on the same day, `hs` its suction enthalpy."""
    match fault:
        case "undercharge":
            return _charge(rng, v, c, f, 0.30, 0.92)
        case "overcharge":
            return _charge(rng, v, c, f, 1.1, 1.6)
        case "non_condensable_gas":
            return _gas(rng, v, c, f)
        case "condenser_airflow_loss":
            share = rng.uniform(0.15, 0.78)
            hotter = c.t_cond_air + 4.0 * (1.0 - share) * rng.random()
            return Bent(
                c._replace(cond_velocity=c.cond_velocity * share, t_cond_air=hotter), f, "airflow_fraction", share
            )
        case "evaporator_airflow_loss":
            share = rng.uniform(0.2, 0.8)
            return Bent(c._replace(evap_air_volume=c.evap_air_volume * share), f, "airflow_fraction", share)
        case "high_side_restriction":
            share, after = float(np.exp(rng.uniform(np.log(0.04), np.log(0.28)))), float(rng.random() < 0.6)
            return Bent(
                c._replace(high_restriction=share, restriction_after=after), f, "area_fraction", share,
                ("expansion_inlet" if c.orifice > 0.5 else "drier_outlet") if after else "condenser_outlet",
            )  # fmt: skip
        case "expansion_restricted" | "expansion_stuck_open":
            return _expansion(rng, c, f, fault == "expansion_stuck_open")
        case "compressor_worn":
            return _worn(rng, c, f, healthy, hs)
        case "compressor_low_stroke":
            share = rng.uniform(0.06, 0.55)
            return Bent(c._replace(stroke_min=min(c.stroke_min, share), stroke_max=share), f, "stroke_fraction", share)
        case "suction_restriction":
            share = float(np.exp(rng.uniform(np.log(0.08), np.log(0.35))))
            return Bent(c._replace(suction_restriction=share), f, "area_fraction", share)
        case "warm_air_mixing":
            share = rng.uniform(0.04, 0.4)
            return Bent(c, f, "heater_share", share, heater_share=share)
        case "gauge_error":
            return _gauge(rng, c, f)
        case "excess_oil":
            return _oil(rng, c, f)
        case "contaminated_refrigerant":
            return _contaminated(rng, v, c)
    return Bent(c, f, None, None)


def standing_pressure(f: Fluid, c: Car, t_soak: float, gas: float) -> float:
    """Absolute pressure after a soak: saturation while liquid is left, else vapour by mass and volume, plus any gas."""
    p = psat(f, t_soak)
    volume, mass = internal_volume(c), c.charge - c.dissolved
    if mass < sat(f, p, RV) * volume:
        lo, hi = 5e3, p
        for _ in range(50):
            mid = 0.5 * (lo + hi)
            h = sat(f, mid, HV) + 880.0 * max(t_soak - sat(f, mid, 0), 0.0)
            lo, hi = (mid, hi) if density(f, mid, h) * volume < mass else (lo, mid)
        p = lo
    liquid_volume = max(mass - sat(f, p, RV) * volume, 0.0) / sat(f, p, RL)
    return p + gas * 287.05 * t_soak / max(volume - liquid_volume, 0.2 * volume)
