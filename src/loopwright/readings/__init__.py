"""From what a person or an instrument wrote to a `Test`: SI, absolute, one standard deviation, the words kept."""

from loopwright.readings.files import read_file, read_text
from loopwright.readings.instruments import Instrument, default_sigma, instrument_of, instruments
from loopwright.readings.points import table
from loopwright.readings.read import read
from loopwright.readings.records import Conditions, Observation, Reading, Refused, Test, Vehicle, Weather

__all__ = [
    "Conditions",
    "Instrument",
    "Observation",
    "Reading",
    "Refused",
    "Test",
    "Vehicle",
    "Weather",
    "default_sigma",
    "instrument_of",
    "instruments",
    "read",
    "read_file",
    "read_text",
    "table",
]
