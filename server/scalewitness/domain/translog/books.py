"""Books: what is kept beside the log, as lines that a fact in the log commits to.

A line says that a row stood in a table. Its commitment is to all that the row said, under a salt
of its own: once row and salt are erased, the line stays and tells nothing. The lines of a book
are chained by SHA-256, and one hash over all books is what the log states at a closing. It tells
nobody outside how many lines there are of what.
"""

from collections.abc import Mapping
from hashlib import sha256
from typing import Final

import msgspec

from scalewitness.domain.translog.canonical import canonical_bytes

SALT_BYTES: Final = 32
EMPTY: Final = bytes(32)
"""The chain of a book without lines."""


class Closed(msgspec.Struct, frozen=True):
    """A book as it was closed: how many ``lines``, and the ``chain`` over them (64 hexadecimal
    digits)."""

    lines: int = 0
    chain: str = EMPTY.hex()


def line_commitment(salt: bytes, says: Mapping[str, object]) -> bytes:
    """SHA-256 over the salt's 32 bytes and the row as JSON with sorted members."""
    if len(salt) != SALT_BYTES:
        raise ValueError(f"a salt has {SALT_BYTES} bytes, not {len(salt)}")
    return sha256(salt + msgspec.json.encode(says, order="deterministic")).digest()


def chained(chain: bytes, thing: str, state: str, commitment: bytes) -> bytes:
    """The chain with one line more: SHA-256 over the chain so far, SHA-256 of
    ``thing@state``, and the line's commitment."""
    return sha256(chain + sha256(f"{thing}@{state}".encode()).digest() + commitment).digest()


def root_of_books(books: Mapping[str, Closed]) -> str:
    """What the log states at a closing: hexadecimal SHA-256 over the canonical JSON (RFC 8785)
    of each book's lines and chain by its name."""
    members = {name: msgspec.to_builtins(one) for name, one in books.items()}
    return sha256(canonical_bytes(members)).hexdigest()
