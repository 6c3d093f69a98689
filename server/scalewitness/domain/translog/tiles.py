"""The tree as tiles of 256 hashes (C2SP tlog-tiles), and proofs read from them.

Tile (level, index) holds the roots of the perfect subtrees of 256^level leaves that start
at index·256·256^level. A proof needs a few hashes of O(log n) tiles.
"""

from collections.abc import Callable, Iterator
from functools import lru_cache
from typing import Final, NamedTuple, TypeAlias

import msgspec

from scalewitness.domain.translog.proofs import NodeReader
from scalewitness.domain.translog.tree import HASH_BYTES, node_hash, paired

HEIGHT: Final = 8
WIDTH: Final = 1 << HEIGHT
MAX_LEVEL: Final = 63
"""C2SP tlog-tiles; a tree of 64-bit size needs no more than 8 levels."""

_GROUP: Final = 1000


class Tile(msgspec.Struct, frozen=True):
    """Where a tile stands and how many hashes of it exist: 1 to 256."""

    level: int
    index: int
    width: int = WIDTH

    def path(self) -> str:
        """``<level>/<index>[.p/<width>]``, the index in groups of three digits."""
        groups = [f"{self.index % _GROUP:03d}"]
        rest = self.index // _GROUP
        while rest:
            groups.insert(0, f"x{rest % _GROUP:03d}")
            rest //= _GROUP
        partial = "" if self.width == WIDTH else f".p/{self.width}"
        return f"{self.level}/{'/'.join(groups)}{partial}"


class NotATile(ValueError):
    """The path is not that of a tile."""


def read_path(path: str) -> Tile:
    """Read :meth:`Tile.path` back.

    Raises:
        NotATile: any other text; every tile has one path.
    """
    whole, dotted, width = path.partition(".p/")
    level, _, groups = whole.partition("/")
    try:
        tile = Tile(_number(level), _index(groups), _number(width) if dotted else WIDTH)
    except ValueError:
        raise NotATile("no such tile path") from None
    if tile.level > MAX_LEVEL or not 0 < tile.width <= WIDTH or tile.path() != path:
        raise NotATile("no such tile path")
    return tile


def _number(digits: str) -> int:
    if not (digits.isascii() and digits.isdigit() and len(digits) <= 3):
        raise ValueError("not a number of up to three digits")
    return int(digits)


def _index(groups: str) -> int:
    index = 0
    for group in groups.split("/"):
        index = index * _GROUP + _number(group.removeprefix("x"))
    return index


def tile_at(level: int, index: int, size: int) -> Tile | None:
    """The tile as it is in a tree of ``size`` leaves; None where nothing of it exists."""
    held = (size >> (HEIGHT * level)) - index * WIDTH
    return Tile(level, index, min(held, WIDTH)) if held > 0 else None


def completed(before: int, after: int) -> Iterator[Tile]:
    """The full tiles that a tree gains as it grows, lower levels first."""
    level = 0
    while after >> (HEIGHT * (level + 1)):
        shift = HEIGHT * (level + 1)
        for index in range(before >> shift, after >> shift):
            yield Tile(level, index)
        level += 1


TileReader: TypeAlias = Callable[[Tile], bytes]
"""The tile's hashes, 32 bytes each; at least as many as its width asks for."""


def nodes_in(tiles: TileReader, size: int) -> NodeReader:
    """A reader of subtree roots out of the tiles of a tree of ``size`` leaves.

    Each tile is asked for once.
    """
    kept: dict[Tile, bytes] = {}

    def node(level: int, index: int) -> bytes:
        tile = _holder(level, index, size)
        if tile not in kept:
            kept[tile] = tiles(tile)
        height = level % HEIGHT
        first = (index << height) % WIDTH
        if tile.width == WIDTH:
            return _layers(kept[tile])[height][first >> height]
        start = first * HASH_BYTES
        return tile_root(kept[tile][start : start + (HASH_BYTES << height)])

    return node


class Spot(NamedTuple):
    """Where a node's hash lies: which of a full tile's layers, counted in hashes."""

    tile: Tile
    at: int


class NodeRun(NamedTuple):
    """A node at the tree's edge, whose hash is stored nowhere: the root over the neighbouring
    hashes [start, end) of a level of tiles."""

    level: int
    start: int
    end: int


def spot_of(level: int, index: int, size: int) -> Spot | NodeRun:
    """Where to read the root over the leaves [index·2^level, (index+1)·2^level)."""
    tile = _holder(level, index, size)
    height = level % HEIGHT
    if tile.width < WIDTH:
        return NodeRun(tile.level, index << height, index + 1 << height)
    return Spot(tile, _layer_start(height) + index % (WIDTH >> height))


def _layer_start(height: int) -> int:
    """How many hashes of a full tile's layers lie before this one: 256, 384, 448 …"""
    return 2 * WIDTH - (2 * WIDTH >> height)


def layers_and_root(hashes: bytes) -> tuple[bytes, bytes]:
    """A full tile's 256 hashes and the layers above them, down to the last two: 510 hashes,
    16,320 bytes. And the root over them."""
    layers = _layers(hashes)
    return b"".join(map(b"".join, layers)), node_hash(*layers[-1])


def _holder(level: int, index: int, size: int) -> Tile:
    """The tile that holds the hashes under this node."""
    tile_level, height = divmod(level, HEIGHT)
    tile = tile_at(tile_level, (index << height) // WIDTH, size)
    if tile is None:
        raise ValueError(f"a tree of {size} leaves has no such node")
    return tile


@lru_cache(maxsize=256)
def _layers(hashes: bytes) -> tuple[list[bytes], ...]:
    """A full tile's hashes and the layers above them, up to the last two.

    Kept by content, so it can never be out of date; about 25 kB each. The few tiles of the
    upper levels are in nearly every proof.
    """
    layers = [_split(hashes)]
    while len(layers[-1]) > 2:
        layers.append(paired(layers[-1]))
    return tuple(layers)


def _split(hashes: bytes) -> list[bytes]:
    return [hashes[i : i + HASH_BYTES] for i in range(0, len(hashes), HASH_BYTES)]


def tile_root(hashes: bytes) -> bytes:
    """The root over 1, 2, 4 … 256 neighbouring hashes. Raises ValueError for another count."""
    count, rest = divmod(len(hashes), HASH_BYTES)
    if rest or count.bit_count() != 1:
        raise ValueError(f"{len(hashes)} bytes are not the hashes of a perfect subtree")
    layer = _split(hashes)
    while len(layer) > 1:
        layer = paired(layer)
    return layer[0]
