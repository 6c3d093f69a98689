"""Storing the tree's full tiles as they fill, in the transaction that fills them."""

from collections.abc import Sequence
from typing import TypeAlias

from scalewitness.domain.translog.tiles import WIDTH, completed, layers_and_root
from scalewitness.domain.translog.tiles import Tile as Place
from scalewitness.ledger.models import Tile
from scalewitness.ledger.queries.tree import leaf_hashes, tile_roots
from scalewitness.ledger.services.inserting import insert_values

COLUMNS = ("level", "index", "layers", "root")
Laid: TypeAlias = dict[tuple[int, int], tuple[bytes, bytes]]
"""By level and index, the layers and the root of a tile."""


def lay_tiles(before: int, added: Sequence[bytes]) -> None:
    """Store the tiles that ``added`` leaf hashes complete in a tree of ``before`` leaves.

    The leaves of a tile that were there before are read back; most batches complete none.
    """
    laid: Laid = {}
    for place in completed(before, before + len(added)):
        hashes = _leaves(place, before, added) if place.level == 0 else _roots(place, laid)
        laid[place.level, place.index] = layers_and_root(hashes)
    if laid:
        insert_values(Tile, COLUMNS, [(*place, *data) for place, data in laid.items()])


def _leaves(place: Place, before: int, added: Sequence[bytes]) -> bytes:
    start, end = place.index * WIDTH, (place.index + 1) * WIDTH
    old = leaf_hashes(start, before) if start < before else []
    new = added[max(start - before, 0) : end - before]
    return b"".join([*old, *new])


def _roots(place: Place, laid: Laid) -> bytes:
    """The roots of the 256 tiles below, those laid just now among them."""
    start, end = place.index * WIDTH, (place.index + 1) * WIDTH
    below = place.level - 1
    fresh = {index: root for (level, index), (_, root) in laid.items() if level == below}
    kept = tile_roots(below, start, end)
    return b"".join([*kept, *(fresh[i] for i in range(start + len(kept), end))])
