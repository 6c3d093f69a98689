"""Growing a tree again from its leaves, tile by tile, as a check of what was stored."""

from collections.abc import Iterable

import msgspec

from scalewitness.domain.translog.tiles import HEIGHT, WIDTH, Tile, layers_and_root, tile_root
from scalewitness.domain.translog.tree import Frontier


class Filled(msgspec.Struct, frozen=True):
    """A tile that became full: its 256 hashes and the layers above them on end, and the root."""

    place: Tile
    layers: bytes
    root: bytes


class Regrowth(msgspec.Struct):
    """A tree so far: its size and, by level, the hashes of the tile that is filling.

    It holds less than 256 hashes a level, whatever the size, and can be kept as JSON.
    """

    size: int = 0
    filling: list[list[bytes]] = msgspec.field(default_factory=list)

    def append(self, leaf_hashes: Iterable[bytes]) -> list[Filled]:
        """Add leaves; the tiles they fill, lower levels first where one fills another."""
        filled: list[Filled] = []
        for one in leaf_hashes:
            self._add(0, one, filled)
            self.size += 1
        return filled

    def _add(self, level: int, hash: bytes, filled: list[Filled]) -> None:
        if level == len(self.filling):
            self.filling.append([])
        held = self.filling[level]
        held.append(hash)
        if len(held) == WIDTH:
            layers, root = layers_and_root(b"".join(held))
            held.clear()
            index = self.size >> (HEIGHT * (level + 1))
            filled.append(Filled(Tile(level, index), layers, root))
            self._add(level + 1, root, filled)

    def frontier(self) -> Frontier:
        """The right edge, from which the root follows."""
        roots = [root for held in reversed(self.filling) for root in _perfect(held)]
        return Frontier(self.size, tuple(roots))

    def root(self) -> bytes:
        return self.frontier().root()


def _perfect(held: list[bytes]) -> Iterable[bytes]:
    """The roots of the perfect subtrees over fewer than 256 hashes, left to right."""
    start = 0
    for height in reversed(range(HEIGHT)):
        if len(held) >> height & 1:
            end = start + (1 << height)
            yield tile_root(b"".join(held[start:end]))
            start = end
