"""Tiles against C2SP tlog-tiles and the tessera test log (``merkle_rfc6962.json``)."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.domain.translog.reference import path_of, root_of, subproof_of

from scalewitness.domain.translog.proofs import consistency_proof, inclusion_proof
from scalewitness.domain.translog.tiles import (
    WIDTH,
    NotATile,
    Spot,
    Tile,
    TileReader,
    completed,
    layers_and_root,
    nodes_in,
    read_path,
    spot_of,
    tile_at,
    tile_root,
)
from scalewitness.domain.translog.tree import leaf_hash

VECTORS = json.loads(
    (Path(__file__).parents[2] / "vectors" / "merkle_rfc6962.json").read_text(encoding="utf-8")
)
TILES = VECTORS["tiles"]
FIFTEEN = VECTORS["tiled_log_15"]
LEAVES = [leaf_hash(f"leaf-{index}".encode()) for index in range(70_000)]


def tiles_of(leaves: list[bytes], asked: list[Tile] | None = None) -> TileReader:
    """Every level built from the one below, as the specification words it."""
    levels = [leaves]
    while len(levels[-1]) >= WIDTH:
        below = levels[-1]
        levels.append(
            [
                root_of(below[start : start + WIDTH])
                for start in range(0, len(below) - WIDTH + 1, WIDTH)
            ]
        )

    def read(tile: Tile) -> bytes:
        if asked is not None:
            asked.append(tile)
        start = tile.index * WIDTH
        return b"".join(levels[tile.level][start : start + tile.width])

    return read


@pytest.mark.parametrize(
    "item", [i for i in TILES["paths"] if i["kind"] == "tile"], ids=lambda i: i["path"]
)
def test_published_paths(item: dict[str, Any]) -> None:
    tile = Tile(item["level"], item["index"], item["width"] or WIDTH)
    assert f"tile/{tile.path()}" == item["path"]
    assert read_path(tile.path()) == tile


@pytest.mark.parametrize(("level", "index"), TILES["bad_level_index"])
def test_published_bad_paths(level: str, index: str) -> None:
    with pytest.raises(NotATile):
        read_path(f"{level}/{index}")


@pytest.mark.parametrize("path", ["0/000.p/0", "0/000.p/256", "0/000.p/01", "0/²", "00/000", ""])
def test_a_tile_has_one_path(path: str) -> None:
    with pytest.raises(NotATile):
        read_path(path)


@pytest.mark.parametrize("size", TILES["by_size"])
def test_published_widths(size: str) -> None:
    for level, held in TILES["by_size"][size].items():
        last = tile_at(int(level), held["full"], int(size))
        assert (last.width if last else 0) == held["partial_width"]
        if held["full"]:
            assert tile_at(int(level), held["full"] - 1, int(size)) == Tile(
                int(level), held["full"] - 1
            )


def test_the_tessera_log_of_fifteen() -> None:
    leaves = [leaf_hash(entry.encode()) for entry in FIFTEEN["entries_utf8"]]
    read = tiles_of(leaves)
    assert read(Tile(0, 0, 15)).hex() == FIFTEEN["level0_tile_hex"]
    inclusion = inclusion_proof(5, 15, nodes_in(read, 15))
    assert [one.hex() for one in inclusion] == FIFTEEN["inclusion_index5_size15"]
    consistency = consistency_proof(7, 15, nodes_in(read, 15))
    assert [one.hex() for one in consistency] == FIFTEEN["consistency_7_to_15"]


READ_ALL = tiles_of(LEAVES)


@settings(max_examples=20)
@given(st.data())
def test_proofs_from_tiles_are_those_of_the_definition(data: st.DataObject) -> None:
    size = data.draw(st.integers(1, 3000))
    index = data.draw(st.integers(0, size - 1))
    node = nodes_in(READ_ALL, size)
    assert inclusion_proof(index, size, node) == path_of(index, LEAVES[:size])
    assert consistency_proof(index + 1, size, node) == subproof_of(index + 1, LEAVES[:size])


@settings(max_examples=50)
@given(st.data())
def test_a_node_lies_where_it_is_looked_for(data: st.DataObject) -> None:
    size = data.draw(st.integers(1, len(LEAVES)))
    level = data.draw(st.integers(0, size.bit_length() - 1))
    index = data.draw(st.integers(0, (size >> level) - 1))
    spot = spot_of(level, index, size)
    if isinstance(spot, Spot):
        layers, _ = layers_and_root(READ_ALL(spot.tile))
        found = layers[spot.at * 32 : (spot.at + 1) * 32]
    else:
        span = 1 << 8 * spot.level
        parts = [LEAVES[at * span : (at + 1) * span] for at in range(spot.start, spot.end)]
        found = tile_root(b"".join(map(root_of, parts)))
    assert found == root_of(LEAVES[index << level : (index + 1) << level])


def test_the_layers_of_a_tile_end_below_its_root() -> None:
    layers, root = layers_and_root(b"".join(LEAVES[:WIDTH]))
    assert root == root_of(LEAVES[:WIDTH])
    assert len(layers) == 510 * 32
    assert layers[-64:] == root_of(LEAVES[:128]) + root_of(LEAVES[128:256])


def test_a_proof_reads_few_tiles() -> None:
    """At 70,000 leaves there are 3 levels; each is read for the leaf's path and the edge."""
    asked: list[Tile] = []
    inclusion_proof(12_345, 70_000, nodes_in(tiles_of(LEAVES, asked), 70_000))
    assert len(asked) == len(set(asked)) <= 5


@settings(max_examples=50)
@given(st.integers(0, 200_000), st.integers(0, 70_000))
def test_growing_completes_each_tile_once(before: int, more: int) -> None:
    after = before + more
    gained = list(completed(before, after))
    assert len(set(gained)) == len(gained)
    for level in range(4):
        full = [tile.index for tile in gained if tile.level == level]
        shift = 8 * (level + 1)
        assert full == list(range(before >> shift, after >> shift))


def test_a_tile_root_is_of_a_perfect_subtree() -> None:
    assert tile_root(b"".join(LEAVES[:256])) == root_of(LEAVES[:256])
    for hashes in (b"", LEAVES[0][:31], b"".join(LEAVES[:3])):
        with pytest.raises(ValueError, match="perfect subtree"):
            tile_root(hashes)
