"""What the clutch makes of the loop: hysteresis on low pressure, fin temperature or high pressure, with thermal mass.

A defensible substitute for a dynamic model. The coil is one heat capacity between the air (heat in proportion to the
gap between air and fin, scaled from the steady running state) and the refrigerant (running capacity, growing with coil
temperature, and a remainder that boils off after the clutch opens). Low pressure follows the coil with a short lag and
leaks up through the expansion device; high pressure relaxes towards its running value or the condenser air.
"""

from typing import NamedTuple

import numpy as np

from .cars import Vehicle
from .loop import Car, State
from .parts import compressor
from .properties import HV, Fluid, T, psat, sat, temperature

DT, STEPS, SKIP = 0.25, 1800, 800  # s, looked at after 200 s
GAIN = 0.025  # capacity of the running loop grows by this share a kelvin of coil temperature (from memory: 2 to 4 %)


class Running(NamedTuple):
    """Pressures (Pa), coil air and discharge gas (K) and capacity (W) as an onlooker sees them over the last minutes."""

    low: tuple[float, float, float]  # mean, minimum, maximum
    high: tuple[float, float, float]
    t_air: float
    t_discharge: float  # while the clutch is in
    fin: float
    capacity: float
    duty: float
    cycling: bool


def steady(s: State, port: float) -> Running:
    """No switching: mean, minimum and maximum agree."""
    return Running((s.ps,) * 3, (port,) * 3, s.t_air_out, s.t_discharge, s.fin, s.capacity, 1.0, False)


def must_cycle(v: Vehicle, c: Car, s: State) -> bool:
    """Whether any switch would open before the running state is reached."""
    if s.pd - c.p_atm > v.high_open:
        return True
    if v.kind != "fixed":
        return False
    if v.expansion == "orifice":
        return s.ps - c.p_atm < v.switch_open
    return s.fin < v.switch_open


def simulate(f: Fluid, v: Vehicle, c: Car, s: State, port: float) -> Running:
    """Run 450 s of hysteresis and look at the last 250 s."""
    tau_low, tau_high, capacity_coil, tau_equal = v.clutch_times
    tau_low *= float(np.clip(c.charge / v.design.charge, 0.35, 1.2))
    gap_on, t_in = max(c.t_evap_air - s.fin, 0.5), c.t_evap_air
    lag = sat(f, s.ps, T) - s.fin
    high_off = psat(f, min(c.t_cond_air + 3.0, sat(f, s.pd, T)))
    low, high, fin, residue, on = psat(f, t_in - 4.0), high_off, t_in - 2.0, 0.0, True
    log = []
    for i in range(STEPS):
        air_heat = s.capacity * (t_in - fin) / gap_on
        running = s.capacity * min(1.0 + GAIN * (fin - s.fin), 1.6)
        residue += DT * ((running if on else 0.0) - residue) / (2.5 if on else 4.0)
        fin = min(fin + DT * (air_heat - residue) / capacity_coil, t_in)
        if on:
            low += DT * (psat(f, fin + lag) - low) / tau_low
            high += DT * (s.pd - high) / tau_high
        else:
            low += DT * ((psat(f, fin) - low) / 5.0 + (high - low) / tau_equal)
            high += DT * ((high_off - high) / (2.2 * tau_high) + (low - high) / tau_equal)
        on = _switch(v, c, on, low, high, fin)
        if i >= SKIP:
            log.append((low, high, fin, air_heat, float(on)))
    lo, hi, tf, heat, duty = np.array(log).T
    air = t_in - (t_in - s.t_air_out) * (t_in - tf.mean()) / gap_on
    drop = s.pd - port
    driven = duty > 0.5 if duty.any() else lo == lo.min()  # never in over the last minutes: its lowest pressure
    share = cooling_share(c, s, air)
    return Running(
        (lo.mean(), lo.min(), lo.max()), (hi.mean() - drop * duty.mean(), hi.min(), hi.max() - drop), float(air),
        discharge(f, c, s, share, float(lo[driven].mean()), float(hi[driven].mean())), float(tf.min()), float(heat.mean()),
        float(duty.mean()), True,
    )  # fmt: skip


def cooling_share(c: Car, s: State, t_air: float) -> float:
    """Cooling of the air, and gap between it and anything in the coil, over that of the clutch held in.

    Superheat goes with it: however starved, the refrigerant leaves no warmer than the air that heats it.
    """
    return (c.t_evap_air - t_air) / max(c.t_evap_air - s.t_air_out, 0.5)


def discharge(f: Fluid, c: Car, s: State, share: float, ps: float, pd: float) -> float:
    """Temperature (K) of the gas that leaves between the pressures of the cycle, with that share of the superheat."""
    hs = sat(f, ps, HV) + share * (s.h_suction - sat(f, s.ps, HV))
    return float(temperature(f, pd, compressor(f, c, ps, hs, pd, s.stroke, s.speed)[1]))


def _switch(v: Vehicle, c: Car, on: bool, low: float, high: float, fin: float) -> bool:
    """Clutch after one look at the switches; while out it closes only when every switch has closed."""
    measured = fin if v.expansion == "thermostatic" else low - c.p_atm
    watch = v.kind == "fixed"
    if on:
        return not (high - c.p_atm > v.high_open or (watch and measured < v.switch_open))
    return high - c.p_atm < v.high_close and (not watch or measured > v.switch_close)
