"""The tree against RFC 6962 vectors of transparency-dev/merkle and tessera."""

import json
from dataclasses import FrozenInstanceError
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.domain.translog.reference import root_of

from scalewitness.domain.translog.tree import EMPTY_ROOT, Frontier, leaf_hash, node_hash

VECTORS = json.loads(
    (Path(__file__).parents[2] / "vectors" / "merkle_rfc6962.json").read_text(encoding="utf-8")
)
EIGHT = VECTORS["eight_leaf_tree"]
EIGHT_LEAVES = [leaf_hash(bytes.fromhex(entry)) for entry in EIGHT["leaf_inputs_hex"]]
hashes = st.lists(st.binary(min_size=32, max_size=32), max_size=70)


def synthetic(count: int) -> list[bytes]:
    return [leaf_hash(f"leaf-{index}".encode()) for index in range(count)]


def test_published_hash_examples() -> None:
    # transparency-dev/merkle rfc6962/rfc6962_test.go
    empty, *rest = VECTORS["hash_examples"]["items"]
    assert empty["root"] == EMPTY_ROOT.hex()
    seen = set()
    for item in rest:
        if "entry_hex" in item:
            assert leaf_hash(bytes.fromhex(item["entry_hex"])).hex() == item["leaf_hash"]
            seen.add("leaf")
        else:
            left, right = bytes.fromhex(item["left_hex"]), bytes.fromhex(item["right_hex"])
            assert node_hash(left, right).hex() == item["node_hash"]
            seen.add("node")
    assert seen == {"leaf", "node"}


def test_eight_leaf_tree_at_every_size() -> None:
    # transparency-dev/merkle testonly/constants.go
    frontier = Frontier()
    roots = [frontier.root().hex()]
    for leaf in EIGHT_LEAVES:
        frontier = frontier.append([leaf])
        roots.append(frontier.root().hex())
    assert roots == EIGHT["roots_by_size"]


def test_eight_leaf_tree_nodes_at_every_level() -> None:
    level = EIGHT_LEAVES
    for published in EIGHT["node_hashes_by_level"]:
        assert [node.hex() for node in level] == published
        level = [node_hash(*level[at : at + 2]) for at in range(0, len(level) - 1, 2)]
    assert len(level) == 0


def test_a_frontier_keeps_exactly_the_perfect_subtrees() -> None:
    for size, coordinates in VECTORS["compact_range_nodes"]["by_size"].items():
        frontier = Frontier().append(EIGHT_LEAVES[: int(size)])
        expected = [EIGHT["node_hashes_by_level"][level][index] for level, index in coordinates]
        assert [root.hex() for root in frontier.hashes] == expected


def test_synthetic_roots_up_to_65537_leaves() -> None:
    frontier, leaves = Frontier(), synthetic(65_537)
    for size, root in VECTORS["synthetic_large"]["roots"].items():
        frontier = frontier.append(leaves[frontier.size : int(size)])
        assert (frontier.size, frontier.root().hex()) == (int(size), root)


def test_published_tiled_log() -> None:
    # transparency-dev/tessera testdata/log
    log = VECTORS["tiled_log_15"]
    leaves = [leaf_hash(entry.encode()) for entry in log["entries_utf8"]]
    assert b"".join(leaves).hex() == log["level0_tile_hex"]
    roots = [Frontier().append(leaves[:size]).root().hex() for size in range(len(leaves) + 1)]
    assert roots == log["roots_by_size"]


def test_a_full_tile_of_level_0_has_one_hash_in_level_1() -> None:
    published = VECTORS["synthetic_large"]
    tile = synthetic(256)
    assert sha256(b"".join(tile)).hexdigest() == published["level0_tile0_sha256"]
    assert [root.hex() for root in Frontier().append(tile).hashes] == [
        published["level1_first_hash"]
    ]


@given(hashes, st.data())
def test_any_split_into_appends_gives_the_root_of_the_definition(
    leaves: list[bytes], data: st.DataObject
) -> None:
    cuts = data.draw(st.lists(st.integers(0, len(leaves)), max_size=6).map(sorted))
    frontier = Frontier()
    for begin, end in zip([0, *cuts], [*cuts, len(leaves)], strict=True):
        frontier = frontier.append(leaves[begin:end])
    assert frontier == Frontier().append(leaves)
    assert frontier.root() == root_of(leaves)
    assert frontier.size == len(leaves)


@given(hashes)
def test_bytes_read_back_and_nothing_near_them_does(leaves: list[bytes]) -> None:
    frontier = Frontier().append(leaves)
    data = frontier.to_bytes()
    assert Frontier.from_bytes(data) == frontier
    for broken in (data[:-1], data + b"\x00", data + bytes(32), b"\x00" + data):
        with pytest.raises(ValueError, match="frontier"):
            Frontier.from_bytes(broken)


def test_the_stored_form_is_the_size_and_the_roots() -> None:
    frontier = Frontier().append(EIGHT_LEAVES[:3])
    published = EIGHT["node_hashes_by_level"]
    assert frontier.to_bytes().hex() == "0000000000000003" + published[1][0] + published[0][2]
    assert Frontier().to_bytes() == bytes(8)


def test_appending_leaves_the_first_frontier_as_it_was() -> None:
    first = Frontier().append(EIGHT_LEAVES[:5])
    before = first.to_bytes()
    first.append(EIGHT_LEAVES[5:])
    assert first.to_bytes() == before
    with pytest.raises(FrozenInstanceError):
        first.size = 6  # type: ignore[misc]


@pytest.mark.parametrize("leaf", [b"", bytes(31), bytes(33), "0" * 32, bytearray(32)])
def test_only_32_byte_hashes_are_appended(leaf: bytes) -> None:
    with pytest.raises(ValueError, match="32 bytes"):
        Frontier().append([leaf])


@pytest.mark.parametrize(
    ("size", "roots"),
    [
        (-1, ()),
        (0, (bytes(32),)),
        (2**64, (bytes(32),)),
        (3, (bytes(32),)),
        (1, (bytes(31),)),
        (1, ()),
    ],
)
def test_a_frontier_that_contradicts_itself_is_refused(size: int, roots: tuple[bytes, ...]) -> None:
    with pytest.raises(ValueError, match=r"leaves|bytes"):
        Frontier(size, roots)
