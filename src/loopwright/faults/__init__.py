"""Faults as data: what each one bends in the circuit, what it is like in the bay, what proves and repairs it."""

from loopwright.faults.bend import bend
from loopwright.faults.catalogue import Caution, Fault, Severity, Variant, catalogue, cautions

__all__ = ["Caution", "Fault", "Severity", "Variant", "bend", "catalogue", "cautions"]
