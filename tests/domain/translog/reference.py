"""The Merkle tree as RFC 9162 defines it, by recursion: slow, and written from the text."""

from collections.abc import Sequence
from hashlib import sha256


def split(count: int) -> int:
    """The largest power of two strictly below ``count`` (section 2.1.1)."""
    power = 1
    while power * 2 < count:
        power *= 2
    return power


def root_of(leaf_hashes: Sequence[bytes]) -> bytes:
    """The Merkle tree hash over leaf hashes (section 2.1.1)."""
    if not leaf_hashes:
        return sha256(b"").digest()
    if len(leaf_hashes) == 1:
        return leaf_hashes[0]
    middle = split(len(leaf_hashes))
    left, right = root_of(leaf_hashes[:middle]), root_of(leaf_hashes[middle:])
    return sha256(b"\x01" + left + right).digest()


def path_of(index: int, leaf_hashes: Sequence[bytes]) -> list[bytes]:
    """The inclusion path PATH(m, D[n]) (section 2.1.3.1)."""
    if len(leaf_hashes) == 1:
        return []
    middle = split(len(leaf_hashes))
    left, right = leaf_hashes[:middle], leaf_hashes[middle:]
    if index < middle:
        return [*path_of(index, left), root_of(right)]
    return [*path_of(index - middle, right), root_of(left)]


def subproof_of(size: int, leaf_hashes: Sequence[bytes], whole: bool = True) -> list[bytes]:
    """The consistency path SUBPROOF(m, D[n], b) (section 2.1.4.1)."""
    if size == len(leaf_hashes):
        return [] if whole else [root_of(leaf_hashes)]
    middle = split(len(leaf_hashes))
    left, right = leaf_hashes[:middle], leaf_hashes[middle:]
    if size <= middle:
        return [*subproof_of(size, left, whole), root_of(right)]
    return [*subproof_of(size - middle, right, False), root_of(left)]
