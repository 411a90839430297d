"""Oil and refrigerant boiling together, against the published curve it was fitted to by eye."""

import math

import pytest
from CoolProp.CoolProp import PropsSI

from loopwright.circuit.oil import held_liquid, rise_at

# Thome 1995, HVAC&R Research 1:334-349, after Takaishi and Oguchi 1987: ln p = A(w)/T + B(w), p in MPa, with
# A = a0 + a1 w + a3 w^3 + a5 w^5 + a7 w^7 and B likewise; a0 and b0 from the pure refrigerant. From memory.
A = (182.52, -724.21, 3868.0, -5268.9)
B = (-0.72212, 2.3914, -13.779, 17.066)


def boiling_rise(name, temperature, share):
    """Boiling point of the mixture over that of the pure refrigerant [K] at the same pressure."""
    p, above = (PropsSI("P", "T", t, "Q", 0, name) / 1e6 for t in (temperature, temperature + 2.0))
    a0 = (math.log(above) - math.log(p)) / (1.0 / (temperature + 2.0) - 1.0 / temperature)
    b0 = math.log(p) - a0 / temperature
    powers = [share ** (2 * i + 1) for i in range(4)]
    a = a0 + sum(c * w for c, w in zip(A, powers, strict=True))
    b = b0 + sum(c * w for c, w in zip(B, powers, strict=True))
    return a / (math.log(p) - b) - temperature


@pytest.mark.parametrize("name", ["R134a", "R1234yf"])
@pytest.mark.parametrize("temperature", [268.15, 273.15, 283.15])
@pytest.mark.parametrize("share", [0.5, 0.55, 0.6, 0.65, 0.7, 0.75, 0.8])
def test_liquid_held_back_follows_the_curve(name, temperature, share):
    """From a rise of 1.6 K on; the curve itself differs by a sixth between the temperatures, ours does not."""
    rise = boiling_rise(name, temperature, share)
    assert 1.5 < rise < 18.0
    assert held_liquid(0.1, rise) == pytest.approx(0.1 * (1.0 - share) / share, rel=0.16)


@pytest.mark.parametrize("oil", [0.02, 0.08, 0.2])
@pytest.mark.parametrize("rise", [0.5, 3.0, 8.0, 20.0])
def test_suction_gas_is_as_warm_as_what_it_carries_allows(oil, rise):
    """The temperature that closes cp t = gained + latent m(t) is the one it was made from."""
    latent, cp = 198e3, 900.0
    gained = cp * rise - latent * held_liquid(oil, rise)
    assert rise_at(oil, gained, latent, cp) == pytest.approx(rise, rel=1e-9)
    assert rise_at(oil, -0.5 * latent, latent, cp) < rise_at(oil, gained, latent, cp)
