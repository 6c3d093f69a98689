"""An authenticated map: a prefix tree of hashes over paths of 256 bits.

The tree is that of the IETF's key transparency (draft-ietf-keytrans-protocol): a leaf stands
where its path parts from all others, and is hashed with another prefix than a node above two
children. A side with no leaf counts as 32 zero bytes. The root is the hash of the one leaf where
there is only one, and :data:`NOTHING` where there is none.

The tree is kept outside, as nodes under their places; a change reads and returns single nodes, so
that it costs what changes and not what there is.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from hashlib import sha256
from typing import Final, NamedTuple, TypeAlias

from scalewitness.domain.translog.tree import HASH_BYTES, is_hash

NOTHING: Final = bytes(HASH_BYTES)
PATH_BITS: Final = 256


Place: TypeAlias = int
"""Of a node: a bit 1, then those of its path down to it, as a number; its children are twice that
and one more."""
ROOT: Final = 1


class Node(NamedTuple):
    """A node as kept: its hash; a leaf has its path too."""

    hash: bytes
    path: bytes | None = None


Nodes: TypeAlias = Mapping[Place, Node]
Reader: TypeAlias = Callable[[Collection[Place]], Nodes]
"""Those of the places where there is a node."""
Leaves: TypeAlias = Mapping[bytes, bytes]
"""Hashes of leaves by their paths."""


def path_leaf(path: bytes, value: bytes) -> bytes:
    """The hash of a leaf: a path of 32 bytes, and what the map holds there, 32 bytes."""
    return sha256(b"\x01" + path + value).digest()


def parent(left: bytes, right: bytes) -> bytes:
    """The hash over two children."""
    return sha256(b"\x02" + left + right).digest()


def changed(leaves: Leaves, read: Reader) -> dict[Place, Node]:
    """The nodes to be stored so that the tree holds these leaves too, the root among them.

    ``read`` is asked once for each level that is gone through, from the root down. A place
    keeps its node: it is never emptied.
    """
    asked: dict[Place, list[bytes]] = {ROOT: sorted(leaves)} if leaves else {}
    known: dict[Place, Node] = {}
    while asked:
        beside = {place << 1 | bit for place in asked for bit in (0, 1)}
        known |= read([*asked, *beside] if ROOT in asked else beside)
        asked = {
            below: paths
            for place, held in asked.items()
            if _is_parent(known.get(place))
            for below, paths in _parted(place, held)
        }
    made: dict[Place, Node] = {}
    if leaves:
        _build(ROOT, sorted(leaves.items()), known, made)
    return made


def _is_parent(node: Node | None) -> bool:
    return node is not None and node.path is None


def _parted(place: Place, paths: Iterable[bytes]) -> Iterable[tuple[Place, list[bytes]]]:
    sides: tuple[list[bytes], list[bytes]] = ([], [])
    depth = depth_of(place)
    for path in paths:
        sides[bit_of(path, depth)].append(path)
    return [(place << 1 | bit, side) for bit, side in enumerate(sides) if side]


def _build(
    place: Place, leaves: Sequence[tuple[bytes, bytes]], known: Nodes, made: dict[Place, Node]
) -> bytes:
    """The hash at a place once these leaves are below it; all nodes on the way go to ``made``."""
    before = known.get(place)
    if before is not None and before.path is not None:
        leaves = sorted({before.path: before.hash, **dict(leaves)}.items())
    if len(leaves) == 1 and not _is_parent(before):
        path, hash = leaves[0]
        made[place] = Node(hash, path)
        return hash
    sides: tuple[list[tuple[bytes, bytes]], list[tuple[bytes, bytes]]] = ([], [])
    depth = depth_of(place)
    for leaf in leaves:
        sides[bit_of(leaf[0], depth)].append(leaf)
    hashes = [_side(place, bit, sides[bit], known, made) for bit in (0, 1)]
    made[place] = Node(parent(*hashes))
    return made[place].hash


def _side(
    place: Place,
    bit: int,
    leaves: Sequence[tuple[bytes, bytes]],
    known: Nodes,
    made: dict[Place, Node],
) -> bytes:
    below = place << 1 | bit
    if leaves:
        return _build(below, leaves, known if _is_parent(known.get(place)) else {}, made)
    return known[below].hash if _is_parent(known.get(place)) and below in known else NOTHING


def bit_of(path: bytes, depth: int) -> int:
    """The bit of a path that parts its two sides below ``depth``; the first is the highest."""
    return path[depth >> 3] >> (7 - (depth & 7)) & 1


def place_of(path: bytes, depth: int) -> Place:
    """Where a path comes through."""
    return (1 << PATH_BITS | int.from_bytes(path, "big")) >> (PATH_BITS - depth)


def depth_of(place: Place) -> int:
    """How many bits from the root."""
    return place.bit_length() - 1


def siblings_of(path: bytes, read: Reader, ahead: int = 40) -> list[bytes]:
    """What joins the leaf of a path to the root: the hashes beside it, from the top down.

    ``ahead``: levels that are read at once; a tree of a million leaves has fewer.

    Raises:
        KeyError: the tree has no such leaf.
    """
    known, siblings = dict[Place, Node](), list[bytes]()
    for depth in range(PATH_BITS):
        if depth % ahead == 0:
            through = [place_of(path, one) for one in range(depth, min(depth + ahead, 256) + 1)]
            known |= read([*through, *(one ^ 1 for one in through[1:])])
        node = known.get(place_of(path, depth))
        if node is None or node.path not in (None, path):
            break
        if node.path == path:
            return siblings
        other = known.get(place_of(path, depth + 1) ^ 1)
        siblings.append(NOTHING if other is None else other.hash)
    raise KeyError(path)


def root_from(path: bytes, leaf: bytes, siblings: Sequence[bytes]) -> bytes:
    """The root that this leaf and the hashes beside its path make up.

    Raises:
        ValueError: parts of another length.
    """
    if not all(map(is_hash, (path, leaf, *siblings))) or len(siblings) > PATH_BITS:
        raise ValueError("a proof has hashes of 32 bytes, at most one for each bit of the path")
    running = leaf
    for depth in range(len(siblings) - 1, -1, -1):
        pair = (running, siblings[depth])
        running = parent(*(pair if bit_of(path, depth) == 0 else reversed(pair)))
    return running


def nodes_over(
    leaves: Iterable[tuple[bytes, bytes]],
    before: bytes | None = None,
    after: bytes | None = None,
) -> Iterator[tuple[Place, Node]]:
    """All nodes of the tree over leaves given in the order of their paths, the root last; in memory
    are those along one path. ``before`` and ``after``: the paths next to these, where they are a
    branch; right are then its leaves and what is wholly within it.

    Raises:
        ValueError: two paths are alike, or they are out of order.
    """
    stack: list[tuple[Place, bytes]] = []
    pending: tuple[bytes, bytes, int] | None = None
    """A leaf, and how many first bits it has in common with the one before."""
    last = before
    for path, hash in leaves:
        if last is not None and path <= last:
            raise ValueError("the paths are not in order, each once")
        shared = -1 if last is None else _shared(last, path)
        if pending is not None:
            yield from _settled(stack, pending, shared)
        pending, last = (path, hash, shared), path
    if pending is not None:
        yield from _settled(stack, pending, -1 if after is None else _shared(pending[0], after))


def crown_over(branches: Mapping[Place, bytes]) -> Iterator[tuple[Place, Node]]:
    """The nodes above these, of which none is above another, by their hashes; the root last."""
    known = dict(branches)
    for depth in range(max(map(depth_of, known), default=0), 0, -1):
        for place in sorted({one >> 1 for one in known if depth_of(one) == depth}):
            sides = (known.get(place << 1 | bit, NOTHING) for bit in (0, 1))
            known[place] = parent(*sides)
            yield place, Node(known[place])


def _shared(one: bytes, other: bytes) -> int:
    """How many first bits two paths have in common."""
    apart = int.from_bytes(one, "big") ^ int.from_bytes(other, "big")
    return PATH_BITS - apart.bit_length()


def _settled(
    stack: list[tuple[Place, bytes]], leaf: tuple[bytes, bytes, int], after: int
) -> Iterator[tuple[Place, Node]]:
    """A leaf, put on the stack at the depth where it stands alone, and what is complete with it:
    all that ends before the path that comes ``after``, which shares so many bits with it."""
    path, hash, shared = leaf
    place = place_of(path, max(shared, after) + 1)
    yield place, Node(hash, path)
    while depth_of(place) > after + 1:
        if stack and stack[-1][0] == place ^ 1:
            hash = parent(stack.pop()[1], hash)
        else:
            hash = parent(NOTHING, hash) if place & 1 else parent(hash, NOTHING)
        place >>= 1
        yield place, Node(hash)
    stack.append((place, hash))
