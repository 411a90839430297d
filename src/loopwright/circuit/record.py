"""The circuit as one flat record of numbers: a vehicle's loop, the weather around it and what is wrong with it.

A batch of circuits is a NumPy structured array of `CIRCUIT`; the compiled code reads a field by its name, the prior
writes one by its place (`FIELDS[name].place`). Everything is SI, absolute, float64; yes and no are 1.0 and 0.0.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

__all__ = ["CIRCUIT", "FIELDS", "Field", "circuits", "row"]


class Field(NamedTuple):
    """One field of the record: its place in the row, its unit, the value of a plain healthy loop, what it means."""

    place: int
    unit: str
    default: float
    meaning: str


_TABLE: tuple[tuple[str, str, float, str], ...] = (
    # what it is built of
    ("orifice", "1", 0.0, "1 orifice tube, 0 thermostatic valve"),
    ("accumulator", "1", 0.0, "1 accumulator in the suction line, 0 receiver in the liquid line"),
    ("compressor", "1", 0.0, "0 fixed displacement, 1 variable displacement, 2 electric scroll"),
    ("high_port_liquid", "1", 0.0, "place of the high-side port: 0 discharge line, 1 liquid line"),
    # compressor
    ("displacement", "m3", 150e-6, "swept volume a revolution at full stroke"),
    ("speed", "1/s", 30.0, "compressor shaft speed"),
    ("flow_scale", "1", 1.08, "this compressor's volumetric efficiency over the correlation's"),
    ("work_scale", "1", 1.0, "this compressor's isentropic efficiency over the correlation's"),
    ("shell_loss", "1", 0.08, "share of the compression work lost as heat through the shell"),
    (
        "control_temperature",
        "K",
        273.15,
        "evaporating temperature (at the suction port) below which capacity is reduced",
    ),
    ("control_band", "K", 3.0, "span of evaporating temperature over which the control goes from full to least"),
    ("control_minimum", "1", 0.0, "least stroke, speed share or duty the control can reach"),
    ("cycle_swing", "K", 8.0, "swing of evaporating temperature between clutch out and clutch in"),
    ("cycle_time", "s", 20.0, "time from clutch in to clutch in"),
    ("high_cutout", "Pa", 3.0e6, "discharge pressure at which the high-pressure switch stops the compressor"),
    ("low_cutout", "Pa", 0.13e6, "suction pressure under which the compressor is held off for want of refrigerant"),
    # condenser
    ("condenser_conductance", "W/K", 950.0, "air-side conductance at the reference air flow, fin efficiency included"),
    ("condenser_air", "m3/s", 0.50, "air flow over the clean condenser in this test"),
    (
        "fan_least",
        "1",
        1.0,
        "share of that air left where the fan's control holds it back; 1 a fan that is not governed",
    ),
    ("fan_pressure", "Pa", 1.3e6, "condensing pressure at which the fan is half way between least and full"),
    ("condenser_air_reference", "m3/s", 0.60, "air flow at which the conductance is given"),
    ("condenser_inner_area", "m2", 0.9, "refrigerant-side area"),
    ("condenser_flow_area", "m2", 6.5e-5, "refrigerant cross-section of one pass"),
    ("condenser_diameter", "m", 1.2e-3, "hydraulic diameter of a passage"),
    ("condenser_volume", "m3", 0.65e-3, "refrigerant volume"),
    ("condenser_loss", "1/m4", 3.0e9, "pressure drop coefficient K in K m^2 / rho"),
    ("subcool_share", "1", 0.0, "share of the condenser placed after the receiver"),
    ("pass_liquid", "kg/m3", 0.0, "label charge that a volume of condenser takes more when it is placed there"),
    ("condenser_air_offset", "K", 4.0, "air entering the condenser over ambient air"),
    # storage and lines
    ("storage_volume", "m3", 0.35e-3, "receiver or accumulator volume"),
    ("liquid_volume", "m3", 0.08e-3, "liquid line volume"),
    ("discharge_volume", "m3", 0.15e-3, "discharge line volume"),
    ("suction_volume", "m3", 0.35e-3, "suction line and compressor volume"),
    ("discharge_loss", "1/m4", 5.0e8, "discharge line pressure drop coefficient"),
    ("liquid_loss", "1/m4", 8.0e9, "liquid line and drier pressure drop coefficient"),
    ("suction_loss", "1/m4", 7.0e7, "suction line pressure drop coefficient"),
    ("suction_gain", "W/K", 2.5, "conductance of the suction line to underhood air"),
    ("discharge_gain", "W/K", 2.5, "conductance of the discharge line to underhood air"),
    ("underhood_offset", "K", 15.0, "underhood air over ambient air"),
    # expansion
    ("valve_area", "m2", 2.0e-6, "thermostatic valve: flow coefficient times area, full opening"),
    ("valve_superheat", "K", 4.0, "thermostatic valve: superheat at which it begins to open"),
    ("valve_gradient", "K", 5.0, "thermostatic valve: further superheat for full opening"),
    ("valve_choked", "1", 0.4, "thermostatic valve: share of its flow that vapour at its inlet takes"),
    ("tube_diameter", "m", 1.5e-3, "orifice tube bore"),
    ("tube_length", "m", 38.3e-3, "orifice tube length"),
    # evaporator and cabin
    ("evaporator_conductance", "W/K", 330.0, "air-side conductance, dry, at the reference air flow"),
    ("evaporator_air", "m3/s", 0.13, "blower air flow in this test"),
    ("blower_step", "1", 1.0, "blower air flow of this test's step over that of full blower, as it should be"),
    ("evaporator_air_reference", "m3/s", 0.13, "air flow at which the conductance is given"),
    ("evaporator_inner_area", "m2", 1.0, "refrigerant-side area"),
    ("evaporator_flow_area", "m2", 1.2e-4, "refrigerant cross-section of one pass"),
    ("evaporator_diameter", "m", 1.6e-3, "hydraulic diameter of a passage"),
    ("evaporator_volume", "m3", 0.55e-3, "refrigerant volume"),
    ("evaporator_loss", "1/m4", 5.0e8, "pressure drop coefficient"),
    (
        "duct_gain",
        "1",
        0.05,
        "share of the way from coil air to cabin-side surroundings that vent air warms in the duct at healthy air flow",
    ),
    ("heater_temperature", "K", 345.0, "air off the heater core, for the mixing door"),
    ("pipe_contact", "1", 0.07, "share of the way to the air around that a pipe's surface stands off, at a usual flow"),
    # weather and test
    ("air_temperature", "K", 303.15, "ambient air temperature"),
    ("air_pressure", "Pa", 101325.0, "ambient pressure"),
    ("relative_humidity", "1", 0.45, "ambient relative humidity"),
    ("cabin_offset", "K", 0.0, "air entering the evaporator over ambient air"),
    ("cabin_moisture", "1", 1.0, "humidity ratio entering the evaporator over that of ambient air"),
    ("soak_offset", "K", 0.5, "standing refrigerant over ambient air"),
    # what is inside
    ("label_charge", "kg", 0.6, "charge on the label"),
    ("charge", "kg", 0.6, "refrigerant in the loop now"),
    ("foreign_gas", "kg", 0.0, "air in the loop"),
    ("oil_fraction", "1", 0.025, "oil in circulation, mass share of the flow"),
    ("contamination", "1", 0.0, "relative shift of saturation pressure by another refrigerant"),
    # what is wrong
    ("condenser_air_fraction", "1", 1.0, "condenser air over healthy"),
    ("evaporator_air_fraction", "1", 1.0, "evaporator air over healthy"),
    ("high_side_area", "1", 1.0, "liquid-line passage over healthy"),
    ("restriction_at_outlet", "1", 0.0, "1 the liquid-line restriction is before the drier and a liquid-line port"),
    ("high_port_behind", "1", 0.0, "1 a liquid-line port is behind a restriction that is at the drier or after it"),
    ("expansion_area", "1", 1.0, "expansion device area over healthy"),
    ("valve_stuck", "1", -1.0, "thermostatic valve held at this share of full opening; negative: it regulates"),
    ("flow_fraction", "1", 1.0, "compressor flow delivered over healthy"),
    ("stroke_limit", "1", 1.0, "largest stroke the compressor reaches"),
    ("driven", "1", 1.0, "0 the compressor does not turn"),
    ("suction_area", "1", 1.0, "suction-line passage over healthy"),
    ("suction_port_upstream", "1", 0.0, "1 the low-side port is on the evaporator's side of a suction restriction"),
    ("heater_share", "1", 0.0, "share of vent air that passed the heater"),
    ("low_gauge_offset", "Pa", 0.0, "low-side gauge reading minus truth"),
    ("high_gauge_offset", "Pa", 0.0, "high-side gauge reading minus truth"),
    # what is read
    ("probe_offset", "K", 0.0, "pipe thermometer minus truth, the same at every pipe"),
    ("cold_pipe_offset", "K", 0.0, "further offset that all pipes of the evaporator and suction line share"),
    ("liquid_pipe_offset", "K", 0.0, "the same for the pipes from condenser outlet to expansion device"),
    ("hot_pipe_offset", "K", 0.0, "the same for the pipes from compressor to condenser"),
    ("vent_offset", "K", 0.0, "centre vent over mixed vent air"),
    ("cabin_probe_offset", "K", 0.0, "thermometer at the cabin inlet minus truth"),
)

FIELDS: dict[str, Field] = {
    name: Field(i, unit, default, meaning) for i, (name, unit, default, meaning) in enumerate(_TABLE)
}

CIRCUIT = np.dtype([(name, np.float64) for name in FIELDS])


def circuits(count: int = 1) -> np.ndarray:
    """A batch of `count` plain healthy circuits (structured array of `CIRCUIT`, SI) to set fields on.

    >>> batch = circuits(2)
    >>> batch["air_temperature"] += 5.0
    >>> float(batch[0]["air_temperature"])
    308.15
    """
    batch = np.empty(count, CIRCUIT)
    for name, field in FIELDS.items():
        batch[name] = field.default
    return batch


def row(batch: np.ndarray) -> np.ndarray:
    """The same memory as a plain float64 array, shape (count, number of fields), for code that goes by place."""
    return batch.view(np.float64).reshape(len(batch), len(FIELDS))
