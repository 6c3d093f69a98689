"""The Merkle tree of RFC 6962 section 2.1 and RFC 9162 section 2.1, over SHA-256.

The tree is never held whole. A :class:`Frontier` keeps the roots of its perfect subtrees,
at most 64 hashes, which is all that appending and the root need.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from typing import Final, Self

HASH_BYTES: Final = 32
MAX_SIZE: Final = 2**64 - 1
"""Sizes and positions travel as unsigned 64-bit integers."""

EMPTY_ROOT: Final = sha256(b"").digest()


def leaf_hash(entry: bytes) -> bytes:
    """The 32-byte hash of an entry. The prefix 0x00 keeps leaves and nodes apart."""
    return sha256(b"\x00" + entry).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """The 32-byte hash over two subtree roots of 32 bytes each."""
    return sha256(b"\x01" + left + right).digest()


def is_hash(value: object) -> bool:
    """Whether ``value`` is a bytes object of exactly 32 bytes."""
    return isinstance(value, bytes) and len(value) == HASH_BYTES


def fold_right(roots: Iterable[bytes]) -> bytes:
    """One root over subtree roots given left to right; at least one is needed.

    The right-hand subtrees are the smaller ones and join first: the split of RFC 9162 lies
    at the largest power of two below the size.
    """
    smallest, *larger = reversed(tuple(roots))
    folded = smallest
    for root in larger:
        folded = node_hash(root, folded)
    return folded


@dataclass(frozen=True, slots=True)
class Frontier:
    """The right edge of a tree: its size and its perfect subtrees' roots, left to right.

    One root per set bit of ``size``, largest subtree first. Raises ValueError when the two
    do not agree.
    """

    size: int = 0
    hashes: tuple[bytes, ...] = ()

    def __post_init__(self) -> None:
        if not 0 <= self.size <= MAX_SIZE:
            raise ValueError(f"a tree cannot have {self.size} leaves")
        if len(self.hashes) != self.size.bit_count():
            raise ValueError(f"{len(self.hashes)} roots do not make a tree of {self.size} leaves")
        if not all(map(is_hash, self.hashes)):
            raise ValueError(f"a subtree root has {HASH_BYTES} bytes")

    def append(self, leaf_hashes: Iterable[bytes]) -> "Frontier":
        """The frontier after these 32-byte leaf hashes; this one stays as it was."""
        size, roots = self.size, list(self.hashes)
        for carried in leaf_hashes:
            if not is_hash(carried):
                raise ValueError(f"a leaf hash has {HASH_BYTES} bytes")
            joined = carried
            for _ in range(_trailing_ones(size)):
                joined = node_hash(roots.pop(), joined)
            roots.append(joined)
            size += 1
        return Frontier(size, tuple(roots))

    def root(self) -> bytes:
        """The tree's 32-byte root; :data:`EMPTY_ROOT` for no leaves."""
        return fold_right(self.hashes) if self.hashes else EMPTY_ROOT

    def to_bytes(self) -> bytes:
        """The size as eight big-endian bytes, then the roots."""
        return self.size.to_bytes(8, "big") + b"".join(self.hashes)

    @classmethod
    def from_bytes(cls, data: bytes) -> Self:
        """Read :meth:`to_bytes` back. Raises ValueError for any other length."""
        size = int.from_bytes(data[:8], "big")
        if len(data) != 8 + HASH_BYTES * size.bit_count():
            raise ValueError(f"{len(data)} bytes do not hold a frontier")
        starts = range(8, len(data), HASH_BYTES)
        return cls(size, tuple(data[start : start + HASH_BYTES] for start in starts))


def _trailing_ones(size: int) -> int:
    """How many perfect subtrees the next leaf completes: the carries of ``size + 1``."""
    return (~size & (size + 1)).bit_length() - 1
