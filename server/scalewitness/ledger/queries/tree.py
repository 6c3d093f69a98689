"""The Merkle tree as stored: head, tiles, and proofs read from them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.db import connection

from scalewitness.domain.translog.proofs import (
    NodeReader,
    consistency_proof,
    inclusion_proof,
    verify_consistency,
)
from scalewitness.domain.translog.tiles import WIDTH, nodes_in, tiles_for
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
    """A tile's hashes, 32 bytes each; None where the tree does not reach that far."""
    return _stored([place]).get(place)


def place_proof(position: int, size: int) -> list[bytes]:
    """The inclusion proof of an entry in the tree of the first ``size``.

    Raises:
        ValueError: not 0 ≤ position < size, or the log is smaller than ``size``.
    """
    return _made(lambda node: inclusion_proof(position, size, node), size)


def growth_proof(old: int, new: int) -> list[bytes]:
    """The consistency proof from the first ``old`` entries to the first ``new``.

    Raises:
        ValueError: not 0 ≤ old ≤ new, or the log is smaller than ``new``.
    """
    return _made(lambda node: consistency_proof(old, new, node), new)


def root_at(size: int) -> bytes:
    """The root over the first ``size`` entries, read from the tiles.

    Raises:
        ValueError: the log is smaller.
    """
    return fold_right(_made(lambda node: _peaks(size, node), size)) if size else EMPTY_ROOT


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


def _peaks(size: int, node: NodeReader) -> list[bytes]:
    """The roots of the perfect subtrees that make up the tree, left to right."""
    begin, roots = 0, []
    for level in reversed(range(size.bit_length())):
        if size >> level & 1:
            roots.append(node(level, begin >> level))
            begin += 1 << level
    return roots


def _made(proof: Callable[[NodeReader], list[bytes]], size: int) -> list[bytes]:
    """A proof from stored tiles, all of them fetched in one statement."""
    needed = tiles_for(proof, size)
    held = _stored(needed)
    if missing := [place for place in needed if place not in held]:
        raise ValueError(f"the log has no tile {missing[0].path()} of {missing[0].width} hashes")
    return proof(nodes_in(held.__getitem__, size))


FULL = "SELECT %s, (SELECT hashes FROM ledger_tile WHERE level = %s AND index = %s)"
LEAVES = """SELECT %s, (SELECT string_agg(leaf_hash, ''::bytea ORDER BY position)
  FROM ledger_entry WHERE position >= %s AND position < %s)"""
ROOTS = """SELECT %s, (SELECT string_agg(root, ''::bytea ORDER BY index)
  FROM ledger_tile WHERE level = %s AND index >= %s AND index < %s)"""


def _stored(places: Sequence[Place]) -> dict[Place, bytes]:
    """The hashes of those tiles that exist.

    A full tile is one row. A partial one is made of what lies below: leaf hashes at level
    0, else the roots of the tiles one level down.
    """
    if not places:
        return {}
    parts = [_part(place) for place in places]
    numbered = [(number, *values) for number, (_, values) in enumerate(parts)]
    with connection.cursor() as cursor:
        cursor.execute(
            " UNION ALL ".join(sql for sql, _ in parts), [one for row in numbered for one in row]
        )
        rows = [(places[number], bytes(hashes or b"")) for number, hashes in cursor.fetchall()]
    return {place: hashes for place, hashes in rows if len(hashes) == place.width * HASH_BYTES}


def _part(place: Place) -> tuple[str, tuple[int, ...]]:
    start = place.index * WIDTH
    end = start + place.width
    if place.width == WIDTH:
        return FULL, (place.level, place.index)
    return (LEAVES, (start, end)) if place.level == 0 else (ROOTS, (place.level - 1, start, end))
