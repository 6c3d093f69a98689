"""A tree grown again, against the tree as it is appended to and RFC 9162's own recursion."""

from hashlib import sha256

import msgspec
import pytest
from tests.domain.translog.reference import root_of

from scalewitness.domain.translog.regrowth import Regrowth
from scalewitness.domain.translog.tiles import Tile, completed
from scalewitness.domain.translog.tree import Frontier

LEAVES = [sha256(number.to_bytes(4)).digest() for number in range(66_000)]


@pytest.mark.parametrize("size", [0, 1, 2, 255, 256, 257, 511, 512, 1000])
def test_root_and_edge_at_any_size(size: int) -> None:
    tree = Regrowth()
    tree.append(LEAVES[:size])
    assert tree.root() == root_of(LEAVES[:size])
    assert tree.frontier() == Frontier().append(LEAVES[:size])


def test_it_goes_on_from_what_was_kept_and_fills_the_same_tiles() -> None:
    tree, places = Regrowth(), list[Tile]()
    for start in range(0, len(LEAVES), 10_007):
        for one in tree.append(LEAVES[start : start + 10_007]):
            places.append(one.place)
            span = 256 ** (one.place.level + 1)
            first = one.place.index * span
            if one.place.index < 2:
                assert one.root == root_of(LEAVES[first : first + span])
        tree = msgspec.json.decode(msgspec.json.encode(tree), type=Regrowth)
    assert tree.root() == root_of(LEAVES)
    assert len(msgspec.json.encode(tree)) < 40_000
    by_place = sorted(places, key=lambda place: (place.level, place.index))
    assert by_place == list(completed(0, len(LEAVES)))
