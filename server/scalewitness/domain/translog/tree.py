"""The Merkle tree of RFC 6962 section 2.1 and RFC 9162 section 2.1, over SHA-256.

The tree is never held whole. A :class:`Frontier` keeps the roots of its perfect subtrees,
at most 64 hashes, which is all that appending and the root need.
"""

from collections.abc import Iterable, Sequence
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


def paired(nodes: Sequence[bytes]) -> list[bytes]:
    """The level above an even number of neighbouring nodes, 32 bytes each."""
    # Written out for speed: this loop is nearly all that building a tree costs.
    return [
        sha256(b"\x01" + left + right).digest()
        for left, right in zip(nodes[::2], nodes[1::2], strict=True)
    ]


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
        """The frontier after these 32-byte leaf hashes; this one stays as it was.

        Works level by level: on each, the root left over from before goes first, pairs are
        joined, and what finds no partner is left over in turn.
        """
        nodes = list(leaf_hashes)
        if not all(map(is_hash, nodes)):
            raise ValueError(f"a leaf hash has {HASH_BYTES} bytes")
        size, before = self.size + len(nodes), list(self.hashes)
        kept: list[bytes] = []
        for level in range(size.bit_length()):
            if self.size >> level & 1:
                nodes.insert(0, before.pop())
            if len(nodes) % 2:
                kept.append(nodes.pop())
            nodes = paired(nodes)
        return Frontier(size, tuple(reversed(kept)))

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
