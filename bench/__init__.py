"""Measurements of speed and of honesty: `python -m bench`, `python -m bench.calibrate`."""
