"""The one function that puts a fault into circuits."""

from __future__ import annotations

import numpy as np

from loopwright.faults.catalogue import Variant

__all__ = ["bend"]


def bend(circuits: np.ndarray, variant: Variant, severity: float | np.ndarray = 0.0) -> np.ndarray:
    """Return a copy of a batch of circuits with a fault in each.

    Parameters
    ----------
    circuits : structured array of `circuit.record.CIRCUIT`, healthy
    variant : the form of the fault; it need not apply to the vehicle, ask `Fault.variants_for`
    severity : in the unit of the fault's severity, one for all or one a circuit; unused where nothing is bent by it

    Source: the cards of the catalogue.

    >>> from loopwright.circuit.record import circuits
    >>> from loopwright.faults.catalogue import catalogue
    >>> short = bend(circuits(2), catalogue()["undercharge"].variants[0], np.array([0.5, 0.8]))
    >>> [round(float(charge), 3) for charge in short["charge"]]
    [0.3, 0.48]
    """
    bent = circuits.copy()
    for fixed in variant.fixed:
        bent[fixed.field] = fixed.value
    for by in variant.bends:
        bent[by.field] = by.value(bent[by.field], np.asarray(severity))
    return bent
