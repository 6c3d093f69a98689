"""Proofs against RFC 9162 and the probes of transparency-dev/merkle testdata/."""

import json
from base64 import b64decode
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.domain.translog.reference import path_of, root_of, subproof_of

from scalewitness.domain.translog.proofs import (
    NodeReader,
    consistency_proof,
    inclusion_proof,
    verify_consistency,
    verify_inclusion,
)
from scalewitness.domain.translog.tree import EMPTY_ROOT, MAX_SIZE, leaf_hash, node_hash

VECTORS = json.loads(
    (Path(__file__).parents[2] / "vectors" / "merkle_rfc6962.json").read_text(encoding="utf-8")
)
PROBES = VECTORS["reference_probes"]
EIGHT_LEAVES = [
    leaf_hash(bytes.fromhex(entry)) for entry in VECTORS["eight_leaf_tree"]["leaf_inputs_hex"]
]
ONE_LEAF = leaf_hash(b"one")

STRICTER_THAN_THE_REFERENCE = {
    # Its "roots" are twelve bytes of text; a hash here has 32 bytes, always.
    "consistency/additional/sizes-are-equal-one-and-proof-is-empty.json",
}


def reader(leaves: Sequence[bytes]) -> NodeReader:
    """A reader that knows perfect subtrees only, and fails on any other question."""

    def node(level: int, index: int) -> bytes:
        begin, end = index << level, (index + 1) << level
        assert 0 <= begin < end <= len(leaves), f"({level}, {index}) is not in the tree"
        return root_of(leaves[begin:end])

    return node


def unhex(proof: list[str]) -> list[bytes]:
    return [bytes.fromhex(node) for node in proof]


def synthetic(count: int) -> list[bytes]:
    return [leaf_hash(f"leaf-{index}".encode()) for index in range(count)]


# --- the reference's probes


def test_all_probes_are_here() -> None:
    for kind in ("inclusion", "consistency"):
        verdicts = [probe["valid"] for probe in PROBES[kind]]
        assert len(verdicts) == 98
        assert verdicts.count(True) == 6


@pytest.mark.parametrize("probe", PROBES["inclusion"], ids=lambda probe: probe["name"])
def test_inclusion_probe(probe: dict[str, Any]) -> None:
    verdict = verify_inclusion(
        leaf_hash=b64decode(probe["leaf_hash_b64"]),
        index=probe["leaf_index"],
        size=probe["tree_size"],
        proof=[b64decode(node) for node in probe["proof_b64"]],
        root=b64decode(probe["root_b64"]),
    )
    assert verdict is probe["valid"]


@pytest.mark.parametrize("probe", PROBES["consistency"], ids=lambda probe: probe["name"])
def test_consistency_probe(probe: dict[str, Any]) -> None:
    verdict = verify_consistency(
        size1=probe["size1"],
        root1=b64decode(probe["root1_b64"]),
        size2=probe["size2"],
        root2=b64decode(probe["root2_b64"]),
        proof=[b64decode(node) for node in probe["proof_b64"]],
    )
    stricter = probe["name"] in STRICTER_THAN_THE_REFERENCE
    assert verdict is (probe["valid"] and not stricter)


# --- recorded proofs


@pytest.mark.parametrize(
    "item",
    VECTORS["inclusion_proofs"]["items"],
    ids=lambda item: f"{item['leaf_index']} of {item['tree_size']}",
)
def test_recorded_inclusion_proof(item: dict[str, Any]) -> None:
    index, size, proof = item["leaf_index"], item["tree_size"], unhex(item["proof"])
    assert inclusion_proof(index, size, reader(EIGHT_LEAVES[:size])) == proof
    assert verify_inclusion(
        leaf_hash=bytes.fromhex(item["leaf_hash"]),
        index=index,
        size=size,
        proof=proof,
        root=bytes.fromhex(item["root"]),
    )


@pytest.mark.parametrize(
    "item",
    VECTORS["consistency_proofs"]["items"],
    ids=lambda item: f"{item['size1']} to {item['size2']}",
)
def test_recorded_consistency_proof(item: dict[str, Any]) -> None:
    size1, size2, proof = item["size1"], item["size2"], unhex(item["proof"])
    assert consistency_proof(size1, size2, reader(EIGHT_LEAVES[:size2])) == proof
    assert verify_consistency(
        size1=size1,
        root1=bytes.fromhex(item["root1"]),
        size2=size2,
        root2=bytes.fromhex(item["root2"]),
        proof=proof,
    )


def test_recorded_proofs_over_large_trees() -> None:
    large, leaves = VECTORS["synthetic_large"], synthetic(65_537)
    roots = {int(size): bytes.fromhex(root) for size, root in large["roots"].items()}
    for item in large["inclusion"]:
        index, size, proof = item["leaf_index"], item["tree_size"], unhex(item["proof"])
        assert inclusion_proof(index, size, reader(leaves)) == proof
        assert verify_inclusion(
            leaf_hash=leaves[index], index=index, size=size, proof=proof, root=roots[size]
        )
    for item in large["consistency"]:
        size1, size2, proof = item["size1"], item["size2"], unhex(item["proof"])
        assert consistency_proof(size1, size2, reader(leaves)) == proof
        assert verify_consistency(
            size1=size1, root1=roots[size1], size2=size2, root2=roots[size2], proof=proof
        )


def test_recorded_proofs_of_the_published_tiled_log() -> None:
    # transparency-dev/tessera testdata/log
    log = VECTORS["tiled_log_15"]
    node = reader([leaf_hash(entry.encode()) for entry in log["entries_utf8"]])
    assert inclusion_proof(5, 15, node) == unhex(log["inclusion_index5_size15"])
    assert consistency_proof(7, 15, node) == unhex(log["consistency_7_to_15"])


# --- size 0 is its own branch


def test_the_empty_tree_grows_into_any_tree_by_an_empty_proof() -> None:
    # C2SP tlog-witness: old size 0 goes with an empty proof.
    assert consistency_proof(0, 8, reader(EIGHT_LEAVES)) == []
    root = root_of(EIGHT_LEAVES)
    assert verify_consistency(size1=0, root1=EMPTY_ROOT, size2=8, root2=root, proof=[])
    assert verify_consistency(size1=0, root1=EMPTY_ROOT, size2=0, root2=EMPTY_ROOT, proof=[])


@pytest.mark.parametrize(
    ("root1", "size2", "root2", "proof"),
    [
        (EMPTY_ROOT, 1, ONE_LEAF, [ONE_LEAF]),
        (ONE_LEAF, 1, ONE_LEAF, []),
        (EMPTY_ROOT, 0, ONE_LEAF, []),
        (ONE_LEAF, 0, ONE_LEAF, []),
        (EMPTY_ROOT, 1, EMPTY_ROOT, []),
        (b"", 1, ONE_LEAF, []),
        (EMPTY_ROOT, 1, b"", []),
    ],
)
def test_anything_else_about_the_empty_tree_fails(
    root1: bytes, size2: int, root2: bytes, proof: list[bytes]
) -> None:
    assert not verify_consistency(size1=0, root1=root1, size2=size2, root2=root2, proof=proof)


# --- strict inputs


@pytest.mark.parametrize(
    ("index", "size"), [(-1, 8), (8, 8), (2**64 - 1, 8), (0, 0), (0, -1), (3, 2**64)]
)
def test_a_leaf_outside_the_tree_is_never_included(index: int, size: int) -> None:
    proof = inclusion_proof(3, 8, reader(EIGHT_LEAVES))
    assert not verify_inclusion(
        leaf_hash=EIGHT_LEAVES[3], index=index, size=size, proof=proof, root=root_of(EIGHT_LEAVES)
    )


@pytest.mark.parametrize(("size1", "size2"), [(-1, 8), (9, 8), (4, 2**64), (2**64, 2**65)])
def test_impossible_sizes_are_never_consistent(size1: int, size2: int) -> None:
    root = root_of(EIGHT_LEAVES)
    assert not verify_consistency(size1=size1, root1=root, size2=size2, root2=root, proof=[])


@pytest.mark.parametrize("odd", [b"", bytes(31), bytes(33), "0" * 32, None])
def test_a_hash_of_another_length_or_type_fails(odd: Any) -> None:
    proof = inclusion_proof(3, 8, reader(EIGHT_LEAVES))
    good: dict[str, Any] = {
        "leaf_hash": EIGHT_LEAVES[3],
        "index": 3,
        "size": 8,
        "proof": proof,
        "root": root_of(EIGHT_LEAVES),
    }
    assert verify_inclusion(**good)
    for change in ({"leaf_hash": odd}, {"root": odd}, {"proof": [odd, *proof[1:]]}):
        assert not verify_inclusion(**(good | change))


@pytest.mark.parametrize(("index", "size"), [(8, 8), (-1, 8), (0, 0)])
def test_no_inclusion_proof_is_made_for_a_leaf_outside(index: int, size: int) -> None:
    with pytest.raises(ValueError, match="not in a tree"):
        inclusion_proof(index, size, reader(EIGHT_LEAVES))


@pytest.mark.parametrize(("size1", "size2"), [(9, 8), (-1, 8)])
def test_no_consistency_proof_is_made_for_a_shrinking_tree(size1: int, size2: int) -> None:
    with pytest.raises(ValueError, match="cannot grow"):
        consistency_proof(size1, size2, reader(EIGHT_LEAVES))


def test_the_largest_tree_asks_for_64_nodes_and_no_more() -> None:
    asked: list[tuple[int, int]] = []

    def node(level: int, index: int) -> bytes:
        asked.append((level, index))
        return leaf_hash(f"{level}/{index}".encode())

    assert len(inclusion_proof(0, MAX_SIZE, node)) == 64
    assert all((index + 1) << level <= MAX_SIZE for level, index in asked)


def left_edge(size: int) -> tuple[list[bytes], bytes]:
    """An inclusion proof for leaf 0 of a tree of invented nodes, and the root it leads to."""
    proof = inclusion_proof(0, size, lambda level, index: leaf_hash(f"{level}/{index}".encode()))
    root = ONE_LEAF
    for sibling in proof:
        root = node_hash(root, sibling)
    return proof, root


@pytest.mark.parametrize(("size", "fits"), [(MAX_SIZE, True), (MAX_SIZE + 1, False)])
def test_sizes_end_where_64_bits_end(size: int, fits: bool) -> None:
    proof, root = left_edge(size)
    included = verify_inclusion(leaf_hash=ONE_LEAF, index=0, size=size, proof=proof, root=root)
    assert included is fits
    same = verify_consistency(size1=size, root1=root, size2=size, root2=root, proof=[])
    assert same is fits
    grown = verify_consistency(size1=1, root1=ONE_LEAF, size2=size, root2=root, proof=proof)
    assert grown is fits


def test_hashes_are_bytes_not_buffers_that_could_change() -> None:
    leaf, root = EIGHT_LEAVES[0], root_of(EIGHT_LEAVES)
    proof = path_of(0, EIGHT_LEAVES)
    buffer: Any = bytearray(root)
    assert not verify_inclusion(leaf_hash=leaf, index=0, size=8, proof=proof, root=buffer)


# --- properties

sizes = st.integers(1, 150)


@given(st.data())
def test_inclusion_proofs_are_those_of_the_definition_and_verify(data: st.DataObject) -> None:
    size = data.draw(sizes)
    index = data.draw(st.integers(0, size - 1))
    leaves = synthetic(size)
    proof = inclusion_proof(index, size, reader(leaves))
    assert proof == path_of(index, leaves)
    assert verify_inclusion(
        leaf_hash=leaves[index], index=index, size=size, proof=proof, root=root_of(leaves)
    )


@given(st.data())
def test_consistency_proofs_are_those_of_the_definition_and_verify(data: st.DataObject) -> None:
    size2 = data.draw(sizes)
    size1 = data.draw(st.integers(1, size2))
    leaves = synthetic(size2)
    proof = consistency_proof(size1, size2, reader(leaves))
    assert proof == subproof_of(size1, leaves)
    assert verify_consistency(
        size1=size1,
        root1=root_of(leaves[:size1]),
        size2=size2,
        root2=root_of(leaves),
        proof=proof,
    )


def flipped(data: st.DataObject, given_hashes: list[bytes]) -> list[bytes]:
    """The same hashes with one bit of one of them turned."""
    which = data.draw(st.integers(0, len(given_hashes) - 1))
    bit = data.draw(st.integers(0, 255))
    number = int.from_bytes(given_hashes[which], "big") ^ (1 << bit)
    return [*given_hashes[:which], number.to_bytes(32, "big"), *given_hashes[which + 1 :]]


@given(st.data())
def test_inclusion_fails_when_any_bit_flips_or_a_hash_is_missing_or_added(
    data: st.DataObject,
) -> None:
    size = data.draw(sizes)
    index = data.draw(st.integers(0, size - 1))
    leaves = synthetic(size)
    proof = path_of(index, leaves)
    leaf, root, *siblings = flipped(data, [leaves[index], root_of(leaves), *proof])
    assert not verify_inclusion(leaf_hash=leaf, index=index, size=size, proof=siblings, root=root)
    for other in (proof[:-1], proof[1:], [*proof, leaf], [leaf, *proof]):
        if other != proof:
            assert not verify_inclusion(
                leaf_hash=leaves[index], index=index, size=size, proof=other, root=root_of(leaves)
            )


@given(st.data())
def test_inclusion_fails_at_every_other_index(data: st.DataObject) -> None:
    size = data.draw(st.integers(2, 150))
    index = data.draw(st.integers(0, size - 1))
    other = data.draw(st.integers(0, size - 1).filter(lambda value: value != index))
    leaves = synthetic(size)
    assert not verify_inclusion(
        leaf_hash=leaves[index],
        index=other,
        size=size,
        proof=path_of(index, leaves),
        root=root_of(leaves),
    )


@given(st.data())
def test_consistency_fails_when_any_bit_flips_or_a_hash_is_missing_or_added(
    data: st.DataObject,
) -> None:
    size2 = data.draw(st.integers(2, 150))
    size1 = data.draw(st.integers(1, size2 - 1))
    leaves = synthetic(size2)
    old, new, proof = root_of(leaves[:size1]), root_of(leaves), subproof_of(size1, leaves)
    root1, root2, *nodes = flipped(data, [old, new, *proof])
    assert not verify_consistency(size1=size1, root1=root1, size2=size2, root2=root2, proof=nodes)
    for other in (proof[:-1], proof[1:], [*proof, old], [old, *proof]):
        assert not verify_consistency(size1=size1, root1=old, size2=size2, root2=new, proof=other)


@given(st.data())
def test_a_rewritten_entry_cannot_be_hidden(data: st.DataObject) -> None:
    size2 = data.draw(st.integers(2, 150))
    size1 = data.draw(st.integers(1, size2 - 1))
    rewritten = data.draw(st.integers(0, size1 - 1))
    leaves = synthetic(size2)
    forged = [*leaves[:rewritten], leaf_hash(b"forged"), *leaves[rewritten + 1 :]]
    assert not verify_consistency(
        size1=size1,
        root1=root_of(leaves[:size1]),
        size2=size2,
        root2=root_of(forged),
        proof=subproof_of(size1, forged),
    )
