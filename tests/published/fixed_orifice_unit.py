"""A fixed-orifice unit as the laboratories that published fault effects had it, built from our components.

Rooftop units: one short tube, no receiver, no accumulator, little superheat and subcooling at rating, much air over the
condenser, room air over the evaporator, constant speed, no control but the thermostat. R-134a, one of our loop
refrigerants, stands in for their R-22 and R-410A, so only ratios and signs are compared. Bore and charge are chosen for
7 K of superheat and 8 K of subcooling at 35 °C outdoors; nothing is fitted to a fault.
"""

import sys
from functools import lru_cache
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "circuit"))
from vehicles import Running, run, vehicle

from loopwright.fluids import refrigerants as fluid

CHARGE = 0.36
UNIT = {
    "storage_volume": 1e-6,
    "tube_diameter": 1.6e-3,
    "air_temperature": 308.15,
    "relative_humidity": 0.31,
    "cabin_offset": -8.0,
    "condenser_air_offset": 0.0,
    "underhood_offset": 0.0,
    "duct_gain": 0.0,
    "control_temperature": 230.0,
    "speed": 25.0,
    "condenser_air": 0.8,
    # the unit's own sizes: what a median vehicle of the prior is does not move them
    "condenser_conductance": 930.0,
    "condenser_air_reference": 0.588,
    "condenser_inner_area": 0.881,
    "condenser_volume": 0.617e-3,
    "condenser_loss": 3.13e9,
    "discharge_gain": 4.0,
    "evaporator_conductance": 470.0,
    "evaporator_air": 0.127,
    "evaporator_air_reference": 0.127,
    "evaporator_inner_area": 0.979,
    "evaporator_volume": 0.522e-3,
    "evaporator_loss": 5.21e8,
    "suction_loss": 7.30e7,
    "liquid_loss": 8.34e9,
    "liquid_volume": 0.076e-3,
    "discharge_volume": 0.142e-3,
    "suction_volume": 0.332e-3,
    "fan_least": 1.0,
    "charge": CHARGE,
    "label_charge": CHARGE,
}


@lru_cache(maxsize=128)
def unit(*changes) -> Running:
    """The unit with `changes` (pairs of field and value) on top."""
    return run(vehicle("orifice", "accumulator", "fixed", **(UNIT | dict(changes))))


def seen(found: Running) -> dict[str, float]:
    """The quantities of the published tables [K, W, Pa]; subcooling at the condenser's outlet."""
    s = found.state
    leaving = fluid.saturation_temperature(found.refrigerant, s.condenser_out_pressure)
    return {
        "evap_sat_temp": s.evaporating_temperature,
        "superheat": max(s.superheat, 0.0),
        "cond_sat_temp": s.condensing_temperature,
        "subcooling": leaving - s.liquid_temperature,
        "discharge_gas_temp": s.discharge_temperature,
        "cond_air_rise": found.read["condenser_air_out"] - found.air.condenser_temperature,
        "evap_air_drop": found.air.evaporator_temperature - found.read["vent_center"],
        "capacity": s.cooling,
        "power": s.power,
        "discharge_pressure": s.discharge_pressure,
        "suction_pressure": s.suction_pressure,
        "liquid_temperature": s.liquid_temperature,
    }
