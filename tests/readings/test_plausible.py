"""Refused is only what cannot be, with the likely mix-up named; what is merely strange is kept, with a warning."""

import pytest
from CoolProp.CoolProp import PropsSI
from sheets import reading, sheet

from loopwright import readings
from loopwright.errors import InputError
from loopwright.readings.plausible import FOREIGN


def refused(found):
    with pytest.raises(InputError) as caught:
        readings.read(found)
    return " | ".join(str(p) for p in caught.value.problems)


@pytest.mark.parametrize(
    ("found", "says"),
    [
        # Out of what can be, by the table of points
        (sheet(reading("high_side", "1400 psi")), "relief valve opens. Probably kPa written as psi"),
        (sheet(reading("high_side", "207 bar")), "relief valve opens. Probably kPa or psi written as bar"),
        (sheet(reading("low_side", "-20 psi")), "Probably inches of mercury of vacuum written as psi"),
        (sheet(reading("low_side", "-110 kPa")), "Below a full vacuum. The gauge's zero or the altitude may be wrong"),
        (sheet(reading("low_side", "-90 kPa"), altitude_m=2000), "Below a full vacuum"),
        (
            sheet(reading("low_side", 0, unit="psi", reference="absolute")),
            "Probably gauge pressure written as absolute",
        ),
        (sheet(reading("vent_center", "-40 °C")), "Too low to be"),
        (sheet(reading("vent_center", "95 °C")), "Too high to be. Probably °F (35 °C) written as °C"),
        (sheet(reading("ambient_air", "104 °C")), "Too high to be. Probably °F (40 °C) written as °C"),
        (sheet(reading("compressor_discharge", "210 °C")), "Probably °F (98.9 °C) written as °C"),
        (sheet(reading("cabin_air_in", "140 %", quantity="relative_humidity")), "Too high to be"),
        (sheet(reading("clutch", "130 %", quantity="duty")), "Too high to be"),
        # The sheet as a whole
        (
            sheet(reading("low_side", "200 psi"), reading("high_side", "30 psi")),
            "Probably hoses or lines are swapped",
        ),
        (
            sheet(reading("low_side", "414 psi", "standing"), reading("high_side", "414 psi", "standing"), air=16.7),
            "No vehicle standing in 16.7 °C holds that. Probably kPa written as psi",
        ),
        (
            sheet(reading("high_side", "145 kPa"), reading("vent_center", "40 °F"), air=16.7),
            "nothing condenses at this pressure. Probably psi written as kPa",
        ),
        (
            sheet(reading("high_side", "14 psi"), reading("vent_center", "8 °C"), air=31),
            "nothing condenses at this pressure. Probably bar written as psi",
        ),
        (sheet(reading("vent_center", "7 °F"), air=31), "Probably °C written as °F"),
        (
            sheet(reading("low_side", "207 psi"), reading("high_side", "1400 kPa"), reading("vent_center", "7 °C")),
            "nothing boils below the day at this pressure. Probably kPa written as psi",
        ),
        (
            sheet(reading("low_side", "172 psi"), reading("vent_center", "9 °C"), air=35),
            "nothing boils below the day at this pressure. Probably kPa written as psi",
        ),
    ],
)
def test_the_impossible_is_refused_and_the_mixup_named(found, says):
    assert says in refused(found)


@pytest.mark.parametrize(
    "found",
    [
        # No compressor: both sides alike while "running"
        sheet(reading("low_side", "95 psi"), reading("high_side", "95 psi"), reading("vent_center", "34 °C")),
        # Short of nearly all refrigerant: both low, nothing cools
        sheet(reading("low_side", "5 psi"), reading("high_side", "40 psi"), reading("vent_center", "30 °C")),
        # A blocked expansion device pulls the low side into vacuum
        sheet(reading("low_side", "20 inHg vac"), reading("high_side", "110 psi")),
        # The heater mixes in: vent far warmer than the day
        sheet(reading("vent_center", "62 °C"), air=5),
        # A high side just short of the relief valve
        sheet(reading("high_side", "550 psi"), air=45),
        # Air left in: standing one atmosphere above saturation
        sheet(reading("low_side", "700 kPa", "standing"), reading("high_side", "700 kPa", "standing"), air=21),
        # Emptied: standing at the atmosphere
        sheet(reading("low_side", "0 psi", "standing"), reading("high_side", "0 psi", "standing")),
        # Standing after a hot run
        sheet(reading("low_side", "200 psi", "standing"), reading("high_side", "205 psi", "standing"), air=35),
        # A cold morning
        sheet(reading("low_side", "10 psi"), reading("high_side", "60 psi"), reading("vent_center", "-2 °C"), air=2),
    ],
    ids=["no compressor", "nearly empty", "vacuum", "heater", "hot", "air inside", "empty", "after a run", "cold"],
)
def test_the_strange_is_kept(found):
    assert len(readings.read(found).readings) == len(found["readings"])


@pytest.mark.parametrize(
    ("found", "says"),
    [
        (
            sheet(reading("low_side", "60 kPa", "standing"), reading("high_side", "60 kPa", "standing"), air=16.7),
            "which fits no liquid at this temperature. Probably psi written as kPa",
        ),
        (
            sheet(reading("low_side", "60 psia", "standing"), reading("high_side", "60 psia", "standing"), air=16.7),
            "Perhaps gauge pressure written as absolute",
        ),
        (
            sheet(reading("low_side", "35.3 psi", "standing"), reading("high_side", "35.3 psi", "standing"), air=-5),
            "Perhaps absolute pressure written as gauge",
        ),
        (sheet(reading("low_side", "120 psi"), reading("high_side", "95 psi")), "reads above the high side"),
        (
            sheet(reading("low_side", "60 psi", "standing"), reading("high_side", "90 psi", "standing"), air=20),
            "not come level yet",
        ),
        (sheet(reading("high_side", "145 kPa"), air=16.7), "an empty system shows that, or psi was meant"),
        # Propane in R-134a on a cool day, or a gauge that reads high: over what R-134a boils at, but it may be
        (
            sheet(
                reading("low_side", "60 psi"),
                reading("high_side", "224 psi"),
                reading("vent_center", "41 °F"),
                air=15.4,
            ),
            "another refrigerant may be in it, the gauge may be off",
        ),
        (sheet(reading("ambient_air", "12 °C"), air=31), "the weather says 31 °C"),
        (sheet(reading("vent_center", "45 °C"), air=24), "was 45 °F meant?"),
        (sheet(relative_humidity_pct=2), "drier than almost any air"),
    ],
)
def test_the_unlikely_is_kept_with_a_warning(found, says):
    test = readings.read(found)
    assert len(test.readings) == len(found["readings"])
    assert any(says in warning for warning in test.warnings), test.warnings


def test_the_most_volatile_foreign_refrigerant_is_allowed_for():
    """R-22's and propane's vapour pressure over R-134a's (CoolProp), where a coil that cools a mild day's air boils."""
    own, r22, propane = (PropsSI("P", "T", 288.15, "Q", 1, name) for name in ("R134a", "R22", "n-Propane"))
    assert r22 / own == pytest.approx(FOREIGN, abs=0.03)
    assert propane / own < FOREIGN


def test_an_r134a_vehicle_standing_in_62_f_air_at_60_psi_is_not_remarked_on():
    """Common practice, no source: about 60 psi on both sides, standing in 62 °F air."""
    both = (reading("low_side", "60 psi", "standing"), reading("high_side", "60 psi", "standing"))
    running = (reading("low_side", "23 psi"), reading("high_side", "145 psi"), reading("vent_center", "40 °F"))
    assert readings.read(sheet(*both, *running, air="62 °F")).warnings == ()
