"""The shop's ledger for pages: one for the app, in the hands of whoever asks."""

from __future__ import annotations

from fastapi import Request

from loopwright.api.ledger import Ledger
from loopwright.api.shop import Shop
from loopwright.language import decimal
from loopwright.quantities import from_si
from loopwright.web.security import me

__all__ = ["ledger_of", "signer", "weighed"]

_LONGEST_NAME = 40  # of who acts, in the ledger
_PLACES = {"g": 1, "oz": 2, "lb": 3, "kg": 4}
_LARGE = {"g": ("kg", 3), "oz": ("lb", 2)}  # from a kilogram on


def ledger_of(request: Request) -> Ledger:
    """Return the ledger in the shop's database, in the hands of the person who asks."""
    state = request.app.state
    if getattr(state, "ledger", None) is None:
        shop: Shop = state.shop
        state.ledger = Ledger(shop.engine, by="-", clock=shop.clock)
    ledger: Ledger = state.ledger
    return ledger.acting(signer(request))


def signer(request: Request) -> str:
    """Return the name of the person who asks as the ledger keeps it."""
    return me(request).name[:_LONGEST_NAME].strip()


def weighed(mass_mg: float, unit: str, sigma_mg: float | None = None) -> str:
    """Write a mass in a person's unit; with one standard uncertainty where it is given.

    >>> weighed(480_000, "g"), weighed(12_345_678, "g", 60_000), weighed(453_592, "oz", 15_000)
    ('480.0 g', '12.346 ± 0.060 kg', '16.00 ± 0.53 oz')
    """
    unit, places = _LARGE[unit] if unit in _LARGE and abs(mass_mg) >= 1e6 else (unit, _PLACES.get(unit, 1))
    text = decimal(from_si(mass_mg / 1e6, "mass", unit), places)
    if sigma_mg is not None:
        text += f" ± {decimal(from_si(sigma_mg / 1e6, 'mass', unit), places)}"
    return f"{text} {unit}"
