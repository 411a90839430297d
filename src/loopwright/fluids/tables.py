"""The shipped tables of the loop refrigerants: their card, their arrays, and the record that compiled code takes."""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any, Protocol

import numpy as np

from loopwright.cards import load
from loopwright.errors import InputError, Problem

__all__ = [
    "COLUMNS",
    "GAS_CONSTANT",
    "LOOP_REFRIGERANTS",
    "Fit",
    "Grid",
    "Refrigerant",
    "card",
    "refrigerant",
    "refrigerant_array",
]

LOOP_REFRIGERANTS = ("R134a", "R1234yf", "R12", "R152a")
"""Refrigerants with a shipped table, by their ASHRAE Standard 34 designation without the hyphen."""

COLUMNS = ("p", "rho_v", "h_v", "s_v", "rho_l", "h_l", "s_l", "cp_l", "cp_v", "mu_l", "mu_v", "k_l", "k_v")
"""Order of the saturation table; what vapour needs comes first, together."""

GAS_CONSTANT = 8.31446261815324  # J/(mol K), exact since the SI of 2019

Array = Any  # a C-contiguous float64 array; numba sees the array itself


@dataclass(frozen=True)
class Grid:
    """Evenly spaced nodes: the first, the spacing, how many."""

    first: float
    step: float = field(metadata={"low": 0.0})
    nodes: int = field(metadata={"low": 4, "high": 1000})


@dataclass(frozen=True)
class Fit:
    """What a table is, over which ranges, and how far it is from the equation of state it was made from.

    `errors` are the largest differences found at random points of the working range (saturation temperature -40 °C to
    85 °C, superheat to 80 K), `errors_whole` those over the whole table: temperatures [K], everything else relative
    (enthalpy to the latent heat, entropy to the entropy of vaporisation).
    """

    id: str
    source: tuple[str, ...]
    name: str
    equation_of_state: str
    molar_mass_kg_mol: float = field(metadata={"unit": "kg/mol", "low": 0.01, "high": 0.5})
    critical_temperature_k: float = field(metadata={"unit": "K", "low": 200.0, "high": 700.0})
    critical_pressure_pa: float = field(metadata={"unit": "Pa", "low": 1e6, "high": 1e7})
    critical_density_kg_m3: float = field(metadata={"unit": "kg/m3", "low": 100.0, "high": 1000.0})
    saturation_temperature_k: Grid
    logarithm_of_pressure: Grid
    liquid_enthalpy_j_kg: Grid
    superheat_saturation_k: Grid
    superheat_enthalpy_j_kg: Grid
    superheat_entropy_j_kgk: Grid
    superheat_k: Grid
    compressibility_pressure_ratio: Grid
    errors: Mapping[str, float] = field(metadata={"low": 0.0, "high": 1.0})
    errors_whole: Mapping[str, float] = field(metadata={"low": 0.0, "high": 1.0})


class Refrigerant(Protocol):
    """What compiled code takes as one refrigerant: a flat NumPy record, constants in SI and spline coefficients.

    `t_min` and `t_max` [K] bound the tables, `p_min` and `p_max` [Pa] are the saturation pressures there; beyond them
    everything is extrapolated. The fields from `per_t` on belong to the tables alone: one over a grid's spacing
    (`per_`), where a grid begins (`_first`), values and slopes at both ends of the saturation table, and coefficients:
    saturation properties against temperature (columns as in `COLUMNS`); temperature against ln p, and against liquid
    enthalpy; against saturation temperature and enthalpy above saturation: temperature and entropy above saturation
    and specific volume over that at saturation; against saturation temperature, enthalpy above saturation by entropy
    above saturation, and by superheat; compressibility factor by temperature and p over saturation pressure.
    """

    molar_mass: float
    gas_constant: float
    t_critical: float
    p_critical: float
    rho_critical: float
    t_min: float
    t_max: float
    p_min: float
    p_max: float
    per_t: float
    per_row: float
    lnp_first: float
    per_lnp: float
    hl_first: float
    per_hl: float
    per_dh: float
    per_ds: float
    per_dt: float
    per_x: float
    edges: Array
    edge_slopes: Array
    saturated: Array
    t_of_lnp: Array
    t_of_hl: Array
    superheated: Array
    dh_of_ds: Array
    dh_of_dt: Array
    compressibility: Array


def refrigerant(name: str) -> Refrigerant:
    """Return a loop refrigerant by its ASHRAE designation; "R-134a" and "r134a" are the same.

    Raises
    ------
    InputError : no table is shipped for that name

    >>> round(float(refrigerant("R-134a").t_critical), 2)
    374.21
    """
    found: Refrigerant = refrigerant_array(name)[0]
    return found


def refrigerant_array(name: str) -> Array:
    """Return the same as an array of one record, shape (1,), which parallel loops need.

    Raises
    ------
    InputError : no table is shipped for that name

    >>> refrigerant_array("R-134a").shape
    (1,)
    """
    wanted = name.strip().replace("-", "").casefold()
    for known in LOOP_REFRIGERANTS:
        if known.casefold() == wanted:
            return _load(known)
    says = "No property table for this refrigerant."
    raise InputError([Problem("refrigerant", repr(name), ", ".join(LOOP_REFRIGERANTS), says)])


def card(name: str) -> Fit:
    """Return what the table of a loop refrigerant is: ranges, source, measured errors.

    Raises
    ------
    CardError : no such card, or it is wrong

    >>> card("R12").source
    ('coolprop-heos',)
    """
    return load("loopwright.fluids", f"fits/{name.casefold()}.toml", Fit)


@cache
def _load(name: str) -> Array:
    place = files("loopwright.fluids").joinpath("fits", f"{name.casefold()}.npz")
    with np.load(io.BytesIO(place.read_bytes())) as arrays:
        return assemble(card(name), {k: np.asarray(v, dtype=float) for k, v in arrays.items()})


def assemble(fit: Fit, arrays: Mapping[str, Array]) -> Array:
    """Join a card and its arrays of spline coefficients into an array of one record for compiled code.

    Compiled functions pass a record by its address. As a named tuple of arrays, each call copied and reference-counted
    all of them: 330 ns for a look-up that takes 20 (measured). All refrigerants have the same shapes, hence one type.
    """
    t, s = fit.saturation_temperature_k, arrays["saturated"]
    edges = np.array([(s[0] + 4 * s[1] + s[2]) / 6, (s[-3] + 4 * s[-2] + s[-1]) / 6])
    values = {
        "molar_mass": fit.molar_mass_kg_mol,
        "gas_constant": GAS_CONSTANT / fit.molar_mass_kg_mol,
        "t_critical": fit.critical_temperature_k,
        "p_critical": fit.critical_pressure_pa,
        "rho_critical": fit.critical_density_kg_m3,
        "t_min": t.first,
        "t_max": t.first + t.step * (t.nodes - 1),
        "p_min": edges[0, 0],
        "p_max": edges[1, 0],
        "per_t": 1 / t.step,
        "per_row": 1 / fit.superheat_saturation_k.step,
        "lnp_first": fit.logarithm_of_pressure.first,
        "per_lnp": 1 / fit.logarithm_of_pressure.step,
        "hl_first": fit.liquid_enthalpy_j_kg.first,
        "per_hl": 1 / fit.liquid_enthalpy_j_kg.step,
        "per_dh": 1 / fit.superheat_enthalpy_j_kg.step,
        "per_ds": 1 / fit.superheat_entropy_j_kgk.step,
        "per_dt": 1 / fit.superheat_k.step,
        "per_x": 1 / fit.compressibility_pressure_ratio.step,
        "edges": edges,
        "edge_slopes": np.array([s[2] - s[0], s[-1] - s[-3]]) / (2 * t.step),
        **arrays,
    }
    block = np.zeros(1, np.dtype([(k, "f8", np.shape(v)) for k, v in values.items()])).view(np.recarray)
    for key, value in values.items():
        block[key] = value
    return block
