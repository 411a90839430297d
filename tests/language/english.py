"""Recognising English that was left in a Spanish text."""

import re
from collections.abc import Iterator
from typing import Any

# Words that English sentences can hardly do without and Spanish ones never hold.
_ENGLISH = re.compile(
    r"\b(the|and|of|with|is|are|was|not|from|to|for|on|at|by|or|than|this|that|it|which|where|when|then|if|an|as|its|"
    r"read|low|high|side|pressure|temperature|between|must|be|in|likely|nothing|value|number)\b",
    re.IGNORECASE,
)
# Parts of a text that stay as they are: units, ids of the contract, what the sheet's author wrote, commands, names.
_KEPT = re.compile(r"`[^`]*`|\(?\b(gauge|absolute)\b\)?|\b[a-z]+(_[a-z0-9]+)+\b|\b\w+\[\d+\](\.\w+)*")


def english_in(text: str) -> list[str]:
    """Return the English words found in a text that should be Spanish."""
    return [match[0] for match in _ENGLISH.finditer(_KEPT.sub(" ", text))]


def texts(found: Any, path: str = "") -> Iterator[tuple[str, str]]:
    """Yield every text in nested tables with its path; keys are not texts."""
    if isinstance(found, str):
        yield path, found
    elif isinstance(found, dict):
        for key, value in found.items():
            yield from texts(value, f"{path}.{key}" if path else str(key))
    elif isinstance(found, list | tuple):
        for value in found:
            yield from texts(value, f"{path}[]")
