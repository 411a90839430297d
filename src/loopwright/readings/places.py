"""Where each value of a sheet stands in its file: path of the value to line number."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["Places"]

_LAST = re.compile(r"(?:\.?[^.\[\]]+|\[\d+\])$")


@dataclass(frozen=True)
class Places:
    """Line of each value by its path ("readings[2].value"); the line of "" is where the sheet begins."""

    lines: Mapping[str, int] = field(default_factory=dict)

    def line(self, path: str) -> int | None:
        """Return the line of a value, or of the nearest thing around it that is there.

        >>> Places({"": 1, "readings[0]": 4}).line("readings[0].value")
        4
        """
        while path not in self.lines:
            shorter = _LAST.sub("", path)
            if not path or shorter == path:
                return self.lines.get("")
            path = shorter
        return self.lines[path]
