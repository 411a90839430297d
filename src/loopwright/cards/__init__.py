"""The one loader of data files (TOML): a card becomes a frozen record, or a `CardError` says what is wrong with it.

A card opens with `schema = 1`, `source` (a key of `sources.toml`, or a list of keys) and may carry a `note`; every
other key is a field of the dataclass that the owning room declares.
"""

from loopwright.cards.loader import load, load_all, load_text
from loopwright.cards.source import Source, sources

__all__ = ["Source", "load", "load_all", "load_text", "sources"]
