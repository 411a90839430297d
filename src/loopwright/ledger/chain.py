"""One text for one entry, and the hash that chains it to all before it."""

from __future__ import annotations

from hashlib import sha256
from typing import NamedTuple

import msgspec

from loopwright.ledger.values import Entry

__all__ = ["GENESIS", "Head", "canonical", "digest", "read_entry"]

_ENCODER = msgspec.json.Encoder(order="sorted")
_DECODER = msgspec.json.Decoder(Entry)


class Head(NamedTuple):
    """The last entry of a chain: its number and hash. Kept elsewhere, it is a receipt for all entries up to it."""

    seq: int
    hash: str


GENESIS = Head(0, "0" * 64)


def canonical(entry: Entry) -> str:
    """Write an entry as canonical JSON: sorted keys, no blanks, integers only (RFC 8785 for what an entry can hold)."""
    return _ENCODER.encode(entry).decode()


def read_entry(text: str) -> Entry:
    """Read an entry from its text.

    Raises
    ------
    ValueError : no JSON, an unknown or missing field, a value out of range
    """
    return _DECODER.decode(text)


def digest(text: str) -> str:
    """Hash an entry's text (SHA-256 of its UTF-8 bytes, in hexadecimal); the text holds the hash of the entry before.

    >>> digest("abc")[:16]
    'ba7816bf8f01cfea'
    """
    return sha256(text.encode()).hexdigest()
