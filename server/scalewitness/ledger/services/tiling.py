"""Storing the tree's full tiles as they fill, in the transaction that fills them."""

from collections.abc import Sequence

from scalewitness.domain.translog.tiles import WIDTH, completed, layers_and_root
from scalewitness.domain.translog.tiles import Tile as Place
from scalewitness.ledger.models import Tile
from scalewitness.ledger.queries.tree import leaf_hashes, tile_roots


def lay_tiles(before: int, added: Sequence[bytes]) -> list[Tile]:
    """Store the tiles that ``added`` leaf hashes complete in a tree of ``before`` leaves.

    The leaves of a tile that were there before are read back; most batches complete none.
    """
    laid: dict[tuple[int, int], Tile] = {}
    for place in completed(before, before + len(added)):
        hashes = _leaves(place, before, added) if place.level == 0 else _roots(place, laid)
        layers, root = layers_and_root(hashes)
        laid[place.level, place.index] = Tile(
            level=place.level, index=place.index, layers=layers, root=root
        )
    return Tile.objects.bulk_create(laid.values()) if laid else []


def _leaves(place: Place, before: int, added: Sequence[bytes]) -> bytes:
    start, end = place.index * WIDTH, (place.index + 1) * WIDTH
    old = leaf_hashes(start, before) if start < before else []
    new = added[max(start - before, 0) : end - before]
    return b"".join([*old, *new])


def _roots(place: Place, laid: dict[tuple[int, int], Tile]) -> bytes:
    """The roots of the 256 tiles below, those laid just now among them."""
    start, end = place.index * WIDTH, (place.index + 1) * WIDTH
    below = place.level - 1
    fresh = {index: bytes(tile.root) for (level, index), tile in laid.items() if level == below}
    kept = tile_roots(below, start, end)
    return b"".join([*kept, *(fresh[i] for i in range(start + len(kept), end))])
