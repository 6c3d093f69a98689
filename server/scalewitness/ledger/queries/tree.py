"""The Merkle tree as stored: head, tiles, and proofs read from them."""

from collections.abc import Sequence
from dataclasses import dataclass

from scalewitness.domain.translog.proofs import (
    NodeReader,
    consistency_proof,
    inclusion_proof,
    verify_consistency,
)
from scalewitness.domain.translog.tiles import WIDTH, nodes_in
from scalewitness.domain.translog.tiles import Tile as Place
from scalewitness.domain.translog.tree import EMPTY_ROOT, HASH_BYTES, fold_right
from scalewitness.ledger.models import Entry, Head, Tile


@dataclass(frozen=True, slots=True)
class Tip:
    """Size and Merkle root of the log at one moment."""

    size: int
    root: bytes


def tip() -> Tip:
    size, root = Head.objects.values_list("size", "root").get(pk=1)
    return Tip(size, bytes(root))


def leaf_hashes(start: int, end: int) -> list[bytes]:
    """The hashes of the entries at positions [start, end), in order."""
    rows = Entry.objects.filter(position__gte=start, position__lt=end).order_by("position")
    return [bytes(one) for one in rows.values_list("leaf_hash", flat=True)]


def tile_roots(level: int, start: int, end: int) -> list[bytes]:
    """The roots of the full tiles [start, end) of a level, in order, as far as they exist."""
    rows = Tile.objects.filter(level=level, index__gte=start, index__lt=end).order_by("index")
    return [bytes(one) for one in rows.values_list("root", flat=True)]


def hashes_of(place: Place) -> bytes | None:
    """A tile's hashes, 32 bytes each; None where the tree does not reach that far.

    A full tile is one row. A partial one is made of what lies below: leaf hashes at level
    0, else the roots of the tiles one level down.
    """
    if place.width == WIDTH:
        full = Tile.objects.filter(level=place.level, index=place.index)
        hashes = full.values_list("hashes", flat=True).first()
        return None if hashes is None else bytes(hashes)
    start = place.index * WIDTH
    end = start + place.width
    parts = leaf_hashes(start, end) if place.level == 0 else tile_roots(place.level - 1, start, end)
    return b"".join(parts) if len(parts) == place.width else None


def place_proof(position: int, size: int) -> list[bytes]:
    """The inclusion proof of an entry in the tree of the first ``size``.

    Raises:
        ValueError: not 0 ≤ position < size, or the log is smaller than ``size``.
    """
    return inclusion_proof(position, size, nodes_in(_read, size))


def growth_proof(old: int, new: int) -> list[bytes]:
    """The consistency proof from the first ``old`` entries to the first ``new``.

    Raises:
        ValueError: not 0 ≤ old ≤ new, or the log is smaller than ``new``.
    """
    return consistency_proof(old, new, nodes_in(_read, new))


def root_at(size: int) -> bytes:
    """The root over the first ``size`` entries, read from the tiles.

    Raises:
        ValueError: the log is smaller.
    """
    node = nodes_in(_read, size)
    return fold_right(_peaks(size, node)) if size else EMPTY_ROOT


def continues(old: Tip, new: Tip) -> bool:
    """Whether the log, whose head is ``new``, begins with the tree ``old``, as its own tiles
    prove. From nothing everything grows: then the root itself is read from the tiles."""
    if new.size < old.size:
        return False
    try:
        if old.size == 0:
            return root_at(new.size) == new.root
        proof = growth_proof(old.size, new.size)
    except ValueError:  # a tile is missing or has another length
        return False
    return verify_consistency(
        size1=old.size, root1=old.root, size2=new.size, root2=new.root, proof=proof
    )


def _peaks(size: int, node: NodeReader) -> Sequence[bytes]:
    """The roots of the perfect subtrees that make up the tree, left to right."""
    begin, roots = 0, []
    for level in reversed(range(size.bit_length())):
        if size >> level & 1:
            roots.append(node(level, begin >> level))
            begin += 1 << level
    return roots


def _read(place: Place) -> bytes:
    hashes = hashes_of(place)
    if hashes is None or len(hashes) != place.width * HASH_BYTES:
        raise ValueError(f"the log has no tile {place.path()} of {place.width} hashes")
    return hashes
