"""The arithmetic of refrigerant service: recover, evacuate, prove tight, oil, charge by mass, and what each is worth.

Pure functions of SI values (pressure absolute), each result with its standard uncertainty (`uncertain.Uncertain`).
`sheets` turns each calculation into a printable sheet; `procedure` holds the order of a service as data and events.
Nothing heavy is imported until a property of a refrigerant is asked for.
"""

from loopwright.service.uncertain import Uncertain

__all__ = ["Uncertain"]
