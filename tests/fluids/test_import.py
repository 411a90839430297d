"""Importing the room and using a loop refrigerant loads no CoolProp, nor more of SciPy than numba itself does."""

import subprocess
import sys

SCRIPT = """
import sys
from loopwright.fluids import refrigerant, moist_air, atmosphere, saturated
from loopwright.fluids.refrigerants import vapour
vapour(refrigerant("R1234yf"), 280.0, 380e3)
print(sorted(set(sys.modules) & {"CoolProp", "scipy.optimize", "scipy.interpolate", "psychrolib", "pandas"}))
"""


def test_light():
    done = subprocess.run([sys.executable, "-c", SCRIPT], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
