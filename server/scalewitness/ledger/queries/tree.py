"""The Merkle tree as stored: head, tiles, and proofs read from them."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeAlias, TypeVar

from django.db.models import QuerySet, Subquery

from scalewitness.domain.translog.proofs import (
    NodeReader,
    consistency_proof,
    inclusion_proof,
    verify_consistency,
)
from scalewitness.domain.translog.tiles import WIDTH, NodeRun, Spot, spot_of, tile_root
from scalewitness.domain.translog.tiles import Tile as Place
from scalewitness.domain.translog.tree import EMPTY_ROOT, HASH_BYTES, fold_right
from scalewitness.ledger.models import Checkpoint, Entry, GivenOut, Head, Tile
from scalewitness.ledger.queries.prepared import Prepared, asked

P = TypeVar("P")
Node: TypeAlias = tuple[int, int]
"""Level and index of a perfect subtree, as a proof asks for it."""


@dataclass(frozen=True, slots=True)
class Tip:
    """Size and Merkle root of the log at one moment."""

    size: int
    root: bytes


def tip() -> Tip:
    ((size, root),) = HEAD.ask()
    return Tip(size, root)


HEAD = Prepared(lambda: Head.objects.filter(pk=1).values_list("size", "root"))


def leaf_hashes(start: int, end: int) -> list[bytes]:
    """The hashes of the entries at positions [start, end), in order."""
    return [one for (one,) in LEAVES.ask(start=start, end=end)]


def _leaves(start: int, end: int) -> QuerySet[Entry, Any]:
    rows = Entry.objects.filter(position__gte=start, position__lt=end).order_by("position")
    return rows.values_list("leaf_hash")


LEAVES = Prepared(_leaves, start=-1, end=-2)


def tile_roots(level: int, start: int, end: int) -> list[bytes]:
    """The roots of the full tiles [start, end) of a level, in order, as far as they exist."""
    rows = Tile.objects.filter(level=level, index__gte=start, index__lt=end).order_by("index")
    return [bytes(one) for one in rows.values_list("root", flat=True)]


def hashes_of(place: Place) -> bytes | None:
    """A tile's hashes, 32 bytes each; None where the tree does not reach that far."""
    start = place.index * WIDTH
    if place.width == WIDTH:
        row = Tile.objects.filter(level=place.level, index=place.index).first()
        return bytes(row.layers[: WIDTH * HASH_BYTES]) if row else None
    if place.level == 0:
        hashes = leaf_hashes(start, start + place.width)
    else:
        hashes = tile_roots(place.level - 1, start, start + place.width)
    return b"".join(hashes) if len(hashes) == place.width else None


def place_proof(position: int, size: int) -> list[bytes]:
    """The inclusion proof of an entry in the tree of the first ``size``.

    Raises:
        ValueError: not 0 ≤ position < size, or the log is smaller than ``size``.
    """
    return _made(lambda node: inclusion_proof(position, size, node), size)


def place_proofs(positions: Collection[int], size: int) -> dict[int, list[bytes]]:
    """As :func:`place_proof`, of many entries at once, by position."""

    def proofs(node: NodeReader) -> dict[int, list[bytes]]:
        return {one: inclusion_proof(one, size, node) for one in positions}

    return _made(proofs, size)


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


def _made(proof: Callable[[NodeReader], P], size: int) -> P:
    """A proof, or several, from stored hashes, all of them fetched in one statement."""
    wanted: dict[Node, Spot | NodeRun] = {}

    def note(level: int, index: int) -> bytes:
        wanted[level, index] = spot_of(level, index, size)
        return bytes(HASH_BYTES)

    proof(note)
    hashes = _fetched(list(wanted.values()))
    if lost := [spot for spot, held in zip(wanted.values(), hashes, strict=True) if held is None]:
        raise ValueError(f"the log has no hash for {lost[0]}")
    held = dict(zip(wanted, hashes, strict=True))
    return proof(lambda level, index: held[level, index] or b"")


FETCH = """
SELECT node, (SELECT substring(layers FROM at FOR 32) FROM ledger_tile
              WHERE ledger_tile.level = full_tile.level AND ledger_tile.index = full_tile.index)
FROM unnest(%s::int[], %s::int[], %s::bigint[], %s::int[]) AS full_tile (node, level, index, at)
UNION ALL
SELECT node, (SELECT string_agg(leaf_hash, ''::bytea ORDER BY position) FROM ledger_entry
              WHERE position >= first AND position < past)
FROM unnest(%s::int[], %s::bigint[], %s::bigint[]) AS leaves (node, first, past)
UNION ALL
SELECT node, (SELECT string_agg(root, ''::bytea ORDER BY index) FROM ledger_tile
              WHERE ledger_tile.level = roots.level AND index >= first AND index < past)
FROM unnest(%s::int[], %s::int[], %s::bigint[], %s::bigint[]) AS roots (node, level, first, past)
"""
"""One text for every proof, so that it is planned once for each connection."""


def _fetched(spots: Sequence[Spot | NodeRun]) -> list[bytes | None]:
    """The hash at each of these; None where the log does not hold all that it is made of."""
    full, leaves, roots = [], [], []
    for node, spot in enumerate(spots):
        if isinstance(spot, Spot):
            full.append((node, spot.tile.level, spot.tile.index, spot.at * HASH_BYTES + 1))
        elif spot.level == 0:
            leaves.append((node, spot.start, spot.end))
        else:
            roots.append((node, spot.level - 1, spot.start, spot.end))
    columns = [*_columns(full, 4), *_columns(leaves, 3), *_columns(roots, 4)]
    found: list[bytes | None] = [None] * len(spots)
    for node, hashes in asked(FETCH, columns):
        found[node] = _root_over(hashes, spots[node])
    return found


def _columns(rows: Sequence[tuple[int, ...]], width: int) -> list[list[int]]:
    return [[row[number] for row in rows] for number in range(width)]


def _root_over(hashes: bytes | None, spot: Spot | NodeRun) -> bytes | None:
    count = 1 if isinstance(spot, Spot) else spot.end - spot.start
    return tile_root(hashes) if hashes and len(hashes) == count * HASH_BYTES else None


def latest_checkpoint(key: str) -> Checkpoint | None:
    """The largest tree signed under a verifier key that may be given out; None where there is
    none yet."""
    return given_out().filter(key=key).order_by("-size").first()


def given_out() -> QuerySet[Checkpoint]:
    """The checkpoints that may be given out."""
    largest = GivenOut.objects.order_by("-size").values("size")[:1]
    return Checkpoint.objects.filter(size__lte=Subquery(largest))


def is_given_out(size: int) -> bool:
    """Whether checkpoints over this tree may be given out."""
    return GivenOut.objects.filter(size__gte=size).exists()


def last_signed() -> tuple[int, datetime] | None:
    """Size and time of what was signed last and may be given out; None where nothing may."""
    return given_out().order_by("-pk").values_list("size", "signed_at").first()
