"""Make the shipped tables from CoolProp's Helmholtz equations of state: `python -m loopwright.fluids.build`.

For developers: run it when a table's ranges or CoolProp's equations change. The tables lie in `fits/`, each with a
card that holds the errors measured here.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np

from loopwright.fluids import refrigerants as fast
from loopwright.fluids.spline import coefficients
from loopwright.fluids.tables import COLUMNS, GAS_CONSTANT, LOOP_REFRIGERANTS, Fit, Grid, Refrigerant, assemble

__all__ = ["EquationOfState", "build", "measure", "sample"]

Array = Any
T_MIN, BELOW_CRITICAL = 213.15, 2.5  # -60 °C, and K below the critical point, where the tables end


class EquationOfState:
    """The reference: CoolProp (HEOS) in mass units, with h = 200 kJ/kg and s = 1 kJ/(kg K) for liquid at 0 °C."""

    def __init__(self, name: str) -> None:
        """Open the fluid that CoolProp knows by this name."""
        from CoolProp import CoolProp as cp  # noqa: N813  (late: it costs half a second, and run time never needs it)

        self.cp, self.name, self.version = cp, name, str(cp.get_global_param_string("version"))
        self.state = cp.AbstractState("HEOS", name)
        self.h0 = self.s0 = 0.0
        zero = self.saturated(273.15)
        self.h0, self.s0 = zero["h_l"] - 200e3, zero["s_l"] - 1e3

    def saturated(self, t: float) -> dict[str, float]:
        """Both saturated phases at the temperature t [K]."""
        out: dict[str, float] = {}
        for phase, quality in (("l", 0.0), ("v", 1.0)):
            a = self.state
            a.update(self.cp.QT_INPUTS, quality, t)
            out |= {f"rho_{phase}": a.rhomass(), f"h_{phase}": a.hmass() - self.h0, f"s_{phase}": a.smass() - self.s0}
            out |= {f"cp_{phase}": a.cpmass(), f"mu_{phase}": a.viscosity(), f"k_{phase}": a.conductivity()}
            out["p"] = a.p()
        return out

    def gas(self, p: float, t: float) -> tuple[float, float, float]:
        """Enthalpy [J/kg], entropy [J/(kg K)] and density [kg/m3] of the gas at p [Pa] and t [K]."""
        self.state.specify_phase(self.cp.iphase_gas)
        try:
            self.state.update(self.cp.PT_INPUTS, p, t)
            return self.state.hmass() - self.h0, self.state.smass() - self.s0, self.state.rhomass()
        finally:
            self.state.unspecify_phase()

    def heated(self, p: float, t: float, dt: float) -> tuple[float, float, float]:
        """As `gas` at t + dt; at dt = 0 the saturated vapour, which p and t alone would not tell from the liquid."""
        if dt > 0.0:
            return self.gas(p, t + dt)
        v = self.saturated(t)
        return v["h_v"], v["s_v"], v["rho_v"]

    def superheat(self, p: float, t: float, target: float, of: int) -> float:
        """Superheat [K] at which enthalpy (of = 0) or entropy (of = 1) is `target` above saturated vapour."""
        from scipy.optimize import brentq

        start = self.heated(p, t, 0.0)[of]
        if target <= 0.0:
            return 0.0
        high = 20.0
        while self.gas(p, t + high)[of] - start < target:
            high *= 1.5
        return float(brentq(lambda x: self.heated(p, t, x)[of] - start - target, 0.0, high, xtol=1e-10, rtol=1e-14))


def _nodes(grid: Grid) -> Array:
    return grid.first + grid.step * np.arange(grid.nodes)


def _round(x: float, step: float) -> float:
    return math.ceil(x / step) * step


def grids(eos: EquationOfState) -> dict[str, Grid]:
    """Choose the nodes of every table; the same numbers of nodes for all refrigerants, so that one type fits them."""
    critical = eos.state.T_critical()
    t = Grid(T_MIN, (critical - BELOW_CRITICAL - T_MIN) / 160, 161)
    row = Grid(T_MIN, (critical - BELOW_CRITICAL - T_MIN) / 80, 81)
    low, high = eos.saturated(T_MIN), eos.saturated(critical - BELOW_CRITICAL)
    lnp = Grid(math.log(low["p"]), math.log(high["p"] / low["p"]) / 120, 121)
    hl = Grid(low["h_l"], (high["h_l"] - low["h_l"]) / 120, 121)
    warmest = critical - BELOW_CRITICAL
    h, s, _ = eos.gas(high["p"], warmest + 120.0)
    dh, ds = _round((h - high["h_v"]) / 44, 100.0), _round((s - high["s_v"]) / 44, 0.25)
    return {
        "saturation_temperature_k": t,
        "logarithm_of_pressure": lnp,
        "liquid_enthalpy_j_kg": hl,
        "superheat_saturation_k": row,
        "superheat_enthalpy_j_kg": Grid(0.0, dh, 45),
        "superheat_entropy_j_kgk": Grid(0.0, ds, 45),
        "superheat_k": Grid(0.0, 2.0, 61),
        "compressibility_pressure_ratio": Grid(0.0, 1 / 40, 41),
    }


def _invert(eos: EquationOfState, key: Callable[[dict[str, float]], float], targets: Array) -> Array:
    from scipy.optimize import brentq

    top = eos.state.T_critical() - BELOW_CRITICAL
    return np.array([brentq(lambda t, y=y: key(eos.saturated(t)) - y, T_MIN - 1, top + 1, xtol=1e-10) for y in targets])


def _superheated(eos: EquationOfState, g: dict[str, Grid]) -> dict[str, Array]:
    """Rows of vapour data, one a saturation temperature."""
    rows: dict[str, list[Any]] = {"superheated": [], "dh_of_ds": [], "dh_of_dt": []}
    for t in _nodes(g["superheat_saturation_k"]):
        sat = eos.saturated(t)
        p = sat["p"]

        def state(dt: float, t: float = t, p: float = p, sat: dict[str, float] = sat) -> tuple[float, float, float]:
            h, s, rho = eos.heated(p, t, dt)
            return h - sat["h_v"], s - sat["s_v"], sat["rho_v"] / rho

        by_dh = [eos.superheat(p, t, y, 0) for y in _nodes(g["superheat_enthalpy_j_kg"])]
        by_ds = [eos.superheat(p, t, y, 1) for y in _nodes(g["superheat_entropy_j_kgk"])]
        rows["superheated"].append([(dt, *state(dt)[1:]) for dt in by_dh])
        rows["dh_of_ds"].append([state(dt)[0] for dt in by_ds])
        rows["dh_of_dt"].append([state(dt)[0] for dt in _nodes(g["superheat_k"])])
    return {k: coefficients(coefficients(np.array(v), axis=0), axis=1) for k, v in rows.items()}


def _compressibility(eos: EquationOfState, g: dict[str, Grid], gas_constant: float) -> Array:
    z = []
    for t in _nodes(g["superheat_saturation_k"]):
        sat = eos.saturated(t)
        row = [1.0]
        for x in _nodes(g["compressibility_pressure_ratio"])[1:]:
            p = x * sat["p"]
            rho = sat["rho_v"] if x > 1 - 1e-9 else eos.gas(p, t)[2]
            row.append(p / (rho * gas_constant * t))
        z.append(row)
    return coefficients(coefficients(np.array(z), axis=0), axis=1)


def build(name: str) -> tuple[Fit, dict[str, Array]]:
    """Make the card (errors still empty) and the arrays of one refrigerant; takes some ten seconds."""
    eos = EquationOfState(name)
    a, g = eos.state, grids(eos)
    saturated = [eos.saturated(t) for t in _nodes(g["saturation_temperature_k"])]
    arrays = {
        "saturated": coefficients(np.array([[s[c] for c in COLUMNS] for s in saturated])),
        "t_of_lnp": coefficients(_invert(eos, lambda s: math.log(s["p"]), _nodes(g["logarithm_of_pressure"]))),
        "t_of_hl": coefficients(_invert(eos, lambda s: s["h_l"], _nodes(g["liquid_enthalpy_j_kg"]))),
        **_superheated(eos, g),
        "compressibility": _compressibility(eos, g, GAS_CONSTANT / a.molar_mass()),
    }
    fit = Fit(
        id=name.casefold(),
        source=("coolprop-heos",),
        name=name,
        equation_of_state=f"CoolProp {eos.version}, HEOS::{name}",
        molar_mass_kg_mol=a.molar_mass(),
        critical_temperature_k=a.T_critical(),
        critical_pressure_pa=a.p_critical(),
        critical_density_kg_m3=a.rhomass_critical(),
        errors={},
        errors_whole={},
        **g,
    )
    return fit, {k: _shipped(v).astype(float) for k, v in arrays.items()}


def _shipped(table: Array) -> Array:
    """Single precision (6e-8) for the superheat tables: far below their fit error, and it halves the file."""
    return table.astype(np.float32) if table.ndim > 1 and table.shape[1] != len(COLUMNS) else table


def sample(eos: EquationOfState, r: Refrigerant, t_sat: float, dt: float) -> dict[str, float]:
    """Differences between table and equation of state at one saturation temperature [K] and superheat [K].

    Temperatures in K; enthalpy over the latent heat, entropy over that of vaporisation, everything else relative.
    """
    want, got = eos.saturated(t_sat), fast.saturation(r, t_sat)._asdict()
    latent, evaporation = want["h_v"] - want["h_l"], want["s_v"] - want["s_l"]
    scale = {k: latent if k[0] == "h" else evaporation if k[0] == "s" else v for k, v in want.items()}
    off = {k: abs(got[k] - want[k]) / scale[k] for k in want}
    h, s, rho = eos.heated(want["p"], t_sat, dt)
    gas = fast.vapour(r, t_sat, h)
    x = 1.0 - dt / 120.0
    thin = eos.gas(x * want["p"], t_sat)[2] if 0.0 < x < 1.0 else want["rho_v"]
    off |= {
        "saturation_temperature_k": abs(fast.saturation_temperature(r, want["p"]) - t_sat),
        "liquid_temperature_k": abs(fast.liquid_temperature(r, want["h_l"]) - t_sat),
        "vapour_temperature_k": abs(gas.t - t_sat - dt),
        "vapour_density": abs(gas.rho / rho - 1.0),
        "vapour_entropy": abs(gas.s - s) / evaporation,
        "isentrope": abs(fast.isentrope(r, t_sat, s) - h) / latent,
        "vapour_enthalpy": abs(fast.vapour_enthalpy(r, t_sat, t_sat + dt) - h) / latent,
        "thin_vapour_density": abs(fast.superheated_density(r, x * want["p"], t_sat) / thin - 1.0) if x < 1 else 0.0,
    }
    return off


def measure(
    eos: EquationOfState, r: Refrigerant, low: float, high: float, superheat: float, n: int
) -> dict[str, float]:
    """Largest differences of `sample` at n random points, t_sat in low to high [K], superheat from 0 [K]."""
    rng = np.random.default_rng(20)
    found = [
        sample(eos, r, t, dt) for t, dt in zip(rng.uniform(low, high, n), rng.uniform(0, superheat, n), strict=True)
    ]
    return {k: float(max(f[k] for f in found)) for k in found[0]}


def _toml(fit: Fit) -> str:
    lines = [
        "# Made by `python -m loopwright.fluids.build`; the arrays lie beside it. Do not edit by hand.",
        "schema = 1",
        f"source = {list(fit.source)}".replace("'", '"'),
    ]
    tables = []
    for key, value in asdict(fit).items():
        if key in ("id", "source"):
            continue
        if isinstance(value, dict):
            tables += ["", f"[{key}]"] + [
                f"{k} = {v:.3g}" if "err" in key else f"{k} = {v!r}" for k, v in value.items()
            ]
        else:
            lines.append(f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {float(value)!r}")
    return "\n".join(lines + tables) + "\n"


def main() -> None:
    """Make, measure and write every table."""
    folder = Path(__file__).parent / "fits"
    for name in LOOP_REFRIGERANTS:
        fit, arrays = build(name)
        eos, r = EquationOfState(name), assemble(fit, arrays)[0]
        fit = replace(
            fit,
            errors=measure(eos, r, 233.15, 358.15, 80.0, 2000),
            errors_whole=measure(eos, r, r.t_min, r.t_max, 120.0, 2000),
        )
        np.savez_compressed(folder / f"{fit.id}.npz", **{k: _shipped(v) for k, v in arrays.items()})
        (folder / f"{fit.id}.toml").write_text(_toml(fit), encoding="utf-8")
        print(name, {k: f"{v:.1e}" for k, v in fit.errors.items()})
        print("    whole", {k: f"{v:.1e}" for k, v in fit.errors_whole.items()})


if __name__ == "__main__":
    main()
