"""What is believed before the readings: hypotheses (a fault on a structure) and the spread of everything unknown.

Every unknown is one standard normal number u; a hypothesis is a base circuit and a table that turns u into fields of
the circuit record, the fault's severity being the last of them. So priors and faults bend a circuit by one mechanism,
and the compiled code knows nothing of cards.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numba import njit

from loopwright import cards
from loopwright.circuit.loop import entering_air, loop
from loopwright.circuit.record import FIELDS, circuits, row
from loopwright.circuit.steady import solve
from loopwright.faults import Fault, Variant, catalogue
from loopwright.fluids import refrigerant
from loopwright.readings import Test

__all__ = ["Hypothesis", "Parameter", "Prior", "Structure", "Table", "bend", "hypotheses", "severity_value", "stack"]

NORMAL, LOGNORMAL, UNIFORM, LOG_UNIFORM = range(4)
_KIND = {"normal": NORMAL, "lognormal": LOGNORMAL, "uniform": UNIFORM, "log_uniform": LOG_UNIFORM}
SET, MULTIPLY, ADD = range(3)
BLOWER_SHARE = {"low": 0.45, "medium": 0.70, "high": 1.0}  # of full blower flow: a judgement
CABIN_MOISTURE = {"fresh": (1.0, 0.01), "recirculated": (0.80, 0.15)}  # humidity over that outside: a judgement
CARD_SPEED, CARD_HUMIDITY = 0.04, 0.05  # how far speed (share) and humidity on a sheet are off: a judgement
CABIN_OFFSET = {"fresh": (1.0, 1.5), "recirculated": (-2.5, 5.0)}  # K over ambient air, median and spread: a judgement
# a valve is made for its refrigerant: flow for the same cooling over that of R-134a, by latent heat; a judgement
VALVE_SIZE = {"R1234yf": 1.3, "R12": 1.3, "R152a": 0.75}
SIZE_EXPONENT = 0.4  # how sizes grow with the label charge: a judgement
LARGE_PASS = 0.15  # share of the condenser of a usual large pass, for which the liquid in it is found: a judgement
CLUTCH_SWITCH = {"thermostatic": "frost_switch", "orifice": "pressure_switch"}  # what cycles a fixed compressor


@dataclass(frozen=True)
class Parameter:
    """One unknown of vehicle or test and how it spreads: normal (median, spread), lognormal, or between low and
    high."""

    name: str
    says: str
    distribution: str = field(metadata={"allowed": tuple(_KIND)})
    median: float = math.nan
    spread: float = math.nan
    low: float = math.nan
    high: float = math.nan
    sets: tuple[str, ...] = ()
    multiplies: tuple[str, ...] = ()
    adds: tuple[str, ...] = ()

    @property
    def pair(self) -> tuple[float, float]:
        """The two numbers of its distribution, in the order that `value_of` takes them."""
        return (self.median, self.spread) if _KIND[self.distribution] <= LOGNORMAL else (self.low, self.high)

    @property
    def middle(self) -> float:
        """Its value at u = 0."""
        return float(value_of(_KIND[self.distribution], *self.pair, 0.0))


@dataclass(frozen=True)
class Prior:
    """A card of priors: fields it fixes and parameters it spreads."""

    source: tuple[str, ...]
    fields: Mapping[str, float]
    parameters: tuple[Parameter, ...]
    note: str = ""


class Structure(NamedTuple):
    """What a circuit is built of, and how likely that is where the sheet does not say."""

    expansion: str
    storage: str
    compressor: str
    weight: float


@dataclass(frozen=True)
class Hypothesis:
    """One fault variant on one structure: base circuit row, parameter table, targets."""

    fault: Fault
    variant: Variant
    structure: Structure
    log_prior: float
    base: np.ndarray
    names: tuple[str, ...]
    kinds: np.ndarray
    first: np.ndarray
    second: np.ndarray
    targets: np.ndarray  # (n, 4): place, how, parameter, scale in millionths


class Table(NamedTuple):
    """All hypotheses as padded arrays for the compiled code."""

    base: np.ndarray  # (h, fields)
    parameters: np.ndarray  # (h,) how many
    kinds: np.ndarray  # (h, d)
    first: np.ndarray  # (h, d)
    second: np.ndarray  # (h, d)
    target_count: np.ndarray  # (h,)
    place: np.ndarray  # (h, t)
    how: np.ndarray  # (h, t)
    which: np.ndarray  # (h, t)
    scale: np.ndarray  # (h, t)


@njit(cache=True)
def value_of(kind: int, first: float, second: float, u: float) -> float:
    """A parameter's value at standard normal `u` (held within 6): the quantile function of its distribution."""
    u = min(max(u, -6.0), 6.0)
    if kind == 0:
        return first + second * u
    if kind == 1:
        return first * math.exp(second * u)
    share = 0.5 * math.erfc(-u / math.sqrt(2.0))
    if kind == 2:
        return first + (second - first) * share
    return first * math.exp(share * math.log(second / first))


@njit(cache=True)
def bend(table: Table, h: int, u: np.ndarray, out: np.ndarray) -> None:
    """Fill the circuit row `out` (number of fields) for hypothesis `h` at `u`."""
    for k in range(out.shape[0]):
        out[k] = table.base[h, k]
    for t in range(table.target_count[h]):
        j = table.which[h, t]
        v = value_of(table.kinds[h, j], table.first[h, j], table.second[h, j], u[j]) * table.scale[h, t]
        place = table.place[h, t]
        how = table.how[h, t]
        if how == 0:
            out[place] = v
        elif how == 1:
            out[place] *= v
        else:
            out[place] += v
    _keep_possible(out)


RH, PASS, PASS_LIQUID, LABEL, CONDENSER = (
    FIELDS[name].place
    for name in ("relative_humidity", "subcool_share", "pass_liquid", "label_charge", "condenser_volume")
)
VOLUMES = tuple(f"{part}_volume" for part in ("condenser", "evaporator", "storage", "liquid", "discharge", "suction"))
_VOLUMES = tuple(FIELDS[name].place for name in VOLUMES)


@njit(cache=True)
def _keep_possible(out: np.ndarray) -> None:
    """Humidity within its ends; a subcooling pass of less than nothing is none, and one that is there takes its liquid
    from the label charge: the maker fills a loop with a pass as full as one without."""
    out[RH] = min(max(out[RH], 0.05), 0.98)
    out[PASS] = max(out[PASS], 0.0)
    suited = 1.0 + out[PASS_LIQUID] * out[PASS] * out[CONDENSER] / out[LABEL]
    for place in _VOLUMES:
        out[place] /= suited


@lru_cache(maxsize=1)
def prior_cards() -> dict[str, Prior]:
    """Every card of priors, by name."""
    return cards.load_all("loopwright.diagnosis", "priors", Prior)


def cards_of(structure: Structure) -> list[Prior]:
    """The cards that make up a vehicle of this structure."""
    names = ["common", structure.expansion, structure.storage, structure.compressor]
    if structure.compressor == "fixed":
        names.append(CLUTCH_SWITCH[structure.expansion])
    return [prior_cards()[n] for n in names]


def structures(test: Test) -> list[Structure]:
    """The structures a sheet leaves open, with prior weights that add up to one.

    A thermostatic valve goes with a receiver and an orifice tube with an accumulator unless the sheet says otherwise.
    """
    v = test.vehicle
    pairs = [("thermostatic", "receiver", 0.60), ("orifice", "accumulator", 0.40)]
    pairs += [("thermostatic", "accumulator", 0.0), ("orifice", "receiver", 0.0)]
    open_pairs = [p for p in pairs if v.expansion in (None, p[0]) and v.storage in (None, p[1])]
    if len(open_pairs) > 1:
        open_pairs = [p for p in open_pairs if p[2] > 0.0]
    old = v.refrigerant == "R12"
    compressors = [
        ("fixed", 0.9 if old else 0.50),
        ("variable", 0.1 if old else 0.40),
        ("electric", 0.0 if old else 0.10),
    ]
    open_compressors = [c for c in compressors if v.compressor in (None, c[0]) and (c[1] > 0.0 or v.compressor)]
    found = [Structure(e, s, c, max(w, 1e-3) * max(k, 1e-3)) for e, s, w in open_pairs for c, k in open_compressors]
    total = sum(s.weight for s in found)
    return [s._replace(weight=s.weight / total) for s in found]


def hypotheses(test: Test) -> list[Hypothesis]:
    """Every fault variant on every structure the sheet leaves open, prior probabilities adding up to one."""
    found: list[Hypothesis] = []
    for structure in structures(test):
        allowed = [(f, f.variants_for(structure.expansion, structure.compressor)) for f in catalogue().values()]
        total = sum(f.prior_weight for f, variants in allowed if variants)
        base, parameters = _vehicle(test, structure)
        for fault, variants in allowed:
            share = fault.prior_weight / total
            found += [
                _hypothesis(fault, v, structure, math.log(structure.weight * share * v.weight), base, parameters)
                for v in variants
            ]
    return found


def _vehicle(test: Test, structure: Structure) -> tuple[np.ndarray, list[Parameter]]:
    """Base row and parameters of a healthy vehicle of this structure, with what the sheet tells put in."""
    base = _built(structure, test.vehicle.refrigerant).copy()
    known = _known(test, structure)
    parameters = [known.get(p.name, p) for card in cards_of(structure) for p in card.parameters]
    kept = [p for p in parameters if p is not None]
    weather = test.weather
    put = {"air_temperature": weather.air_temperature}
    put["air_pressure"] = weather.atmosphere
    if weather.relative_humidity is not None:
        put["relative_humidity"] = weather.relative_humidity
    if test.conditions.compressor_speed is not None:
        put["speed"] = test.conditions.compressor_speed
    if test.vehicle.high_port is not None:
        put["high_port_liquid"] = 1.0 if test.vehicle.high_port == "liquid_line" else 0.0
    record = base.view(_dtype())[0]
    for name, value in put.items():
        record[name] = value
    label = test.vehicle.charge
    if label is not None:
        _scale_to_label(record, label)
    record["blower_step"] = BLOWER_SHARE[test.conditions.blower or "high"]
    record["evaporator_air"] *= record["blower_step"]
    return base, kept


def _scale_to_label(record: Any, label: float) -> None:
    """Volumes in proportion to the label charge; surfaces, air flows and passages by its 0.4th power."""
    ratio = label / record["label_charge"]
    for name in VOLUMES:
        record[name] *= ratio
    record["label_charge"] *= ratio
    record["charge"] *= ratio
    size = min(max(ratio, 0.4), 3.0) ** SIZE_EXPONENT
    for name in (
        "condenser_conductance", "condenser_inner_area", "condenser_flow_area", "condenser_air_reference",
        "evaporator_conductance", "evaporator_inner_area", "evaporator_flow_area", "evaporator_air",
        "evaporator_air_reference",
    ):  # fmt: skip
        record[name] *= size
    for name in ("condenser_loss", "evaporator_loss", "suction_loss", "liquid_loss", "discharge_loss"):
        record[name] /= size * size


def _known(test: Test, structure: Structure) -> dict[str, Parameter | None]:
    """Parameters that the sheet's facts narrow (a new spread) or settle (None)."""
    cards_now = {p.name: p for card in cards_of(structure) for p in card.parameters}
    known: dict[str, Parameter | None] = {}
    displacement = cards_now["displacement"]
    if test.conditions.compressor_speed is not None:
        speed = cards_now["speed"]
        known["speed"] = replace(speed, median=test.conditions.compressor_speed, spread=CARD_SPEED)
    if test.vehicle.displacement is not None:
        known["displacement"] = replace(displacement, median=test.vehicle.displacement, spread=0.09)
    if test.weather.relative_humidity is not None:
        humidity = cards_now["relative_humidity"]
        known["relative_humidity"] = replace(humidity, median=test.weather.relative_humidity, spread=CARD_HUMIDITY)
    if test.conditions.air is not None:
        median, spread = CABIN_OFFSET[test.conditions.air]
        known["cabin_offset"] = replace(cards_now["cabin_offset"], median=median, spread=spread)
        median, spread = CABIN_MOISTURE[test.conditions.air]
        known["cabin_moisture"] = replace(cards_now["cabin_moisture"], median=median, spread=spread)
    if test.vehicle.high_port is not None:
        known["high_port"] = None
    return known


@lru_cache(maxsize=64)
def _built(structure: Structure, name: str) -> np.ndarray:
    """A median vehicle of this structure with its storage partly full at label charge, as a row (1, fields)."""
    batch = circuits(1)
    for card in cards_of(structure):
        for key, value in card.fields.items():
            batch[key] = value
        for p in card.parameters:
            for target in p.sets:
                batch[target] = p.middle
    batch["valve_area"] *= VALVE_SIZE.get(name, 1.0)
    label = _charge_at_level(batch, name, 0.0)
    batch["charge"] = batch["label_charge"] = label
    if structure.storage == "receiver":
        more = _charge_at_level(batch, name, LARGE_PASS) - label
        batch["pass_liquid"] = more / (LARGE_PASS * batch["condenser_volume"])
    _scale_to_label(batch[0], 0.6)
    return row(batch)


def _charge_at_level(batch: np.ndarray, name: str, subcool_share: float) -> float:
    """Charge [kg] that leaves a receiver half full, an accumulator three tenths, on a 35 °C day, by bisection, with
    `subcool_share` of the condenser behind the receiver."""
    wanted = 0.3 if batch["accumulator"][0] > 0.5 else 0.5
    r = refrigerant(name)
    trial = batch.copy()
    trial["subcool_share"] = subcool_share
    trial["air_temperature"] = 308.15
    trial["relative_humidity"] = 0.40
    c = trial[0]
    low, high = 0.15, 1.8
    x = np.empty(4)
    for _ in range(30):
        middle = 0.5 * (low + high)
        c["charge"] = middle
        solve(c, r, entering_air(c), x)
        level = loop(c, r, entering_air(c), x[0], x[1], x[2], x[3]).level
        low, high = (middle, high) if level < wanted else (low, middle)
    return 0.5 * (low + high)


def _dtype() -> np.dtype:
    return circuits(1).dtype


def _hypothesis(
    fault: Fault,
    variant: Variant,
    structure: Structure,
    log_prior: float,
    base: np.ndarray,
    parameters: list[Parameter],
) -> Hypothesis:
    own = base.reshape(-1).copy()
    for f in variant.fixed:
        own[FIELDS[f.field].place] = f.value
    names = [p.name for p in parameters]
    kinds = [_KIND[p.distribution] for p in parameters]
    pairs = [p.pair for p in parameters]
    targets: list[tuple[int, int, int, float]] = []
    for j, p in enumerate(parameters):
        for how, fields in ((SET, p.sets), (MULTIPLY, p.multiplies), (ADD, p.adds)):
            targets += [(FIELDS[f].place, how, j, 1.0) for f in fields]
    severity = fault.severity_of(variant)
    if severity is not None:
        j = len(names)
        names.append("severity")
        kinds.append(_KIND[severity.distribution])
        pairs.append((severity.low, severity.high))
        targets += [(FIELDS[b.field].place, _HOW[b.how][0], j, _HOW[b.how][1]) for b in variant.bends]
    return Hypothesis(
        fault, variant, structure, log_prior, own, tuple(names),
        np.array(kinds, np.int64), np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs]),
        np.array(targets, np.float64).reshape(-1, 4),
    )  # fmt: skip


_HOW = {
    "set": (SET, 1.0),
    "multiply": (MULTIPLY, 1.0),
    "add": (ADD, 1.0),
    "set_grams": (SET, 1e-3),
    "set_kpa": (ADD, 1e3),
}


def severity_value(h: Hypothesis, u: np.ndarray) -> np.ndarray:
    """Severity (in the card's unit) at each row of `u` (n, d); nan where the fault has none."""
    if h.fault.severity is None:
        return np.full(len(u), np.nan)
    j = len(h.names) - 1
    return np.array([value_of(h.kinds[j], h.first[j], h.second[j], v) for v in u[:, j]])


def stack(found: list[Hypothesis]) -> Table:
    """Hypotheses as padded arrays for the compiled code."""
    d = max(len(h.names) for h in found)
    t = max(len(h.targets) for h in found)
    n = len(found)

    def padded(rows: list[np.ndarray], width: int, kind: type) -> np.ndarray:
        out: np.ndarray = np.zeros((n, width), kind)
        for i, values in enumerate(rows):
            out[i, : len(values)] = values
        return out

    return Table(
        np.stack([h.base for h in found]),
        np.array([len(h.names) for h in found]),
        padded([h.kinds for h in found], d, np.int64),
        padded([h.first for h in found], d, np.float64),
        padded([h.second for h in found], d, np.float64),
        np.array([len(h.targets) for h in found]),
        padded([h.targets[:, 0] for h in found], t, np.int64),
        padded([h.targets[:, 1] for h in found], t, np.int64),
        padded([h.targets[:, 2] for h in found], t, np.int64),
        padded([h.targets[:, 3] for h in found], t, np.float64),
    )
