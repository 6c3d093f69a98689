"""Roots and proofs at random sizes against pymerkle 7 (PyPI), which knows nothing of tiles.

Its hashing is that of RFC 9162; its proofs name the same subtrees with small differences,
which `_path` and `_growth` translate before the bytes are compared.
"""

from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st
from pymerkle import InclusionProof, InmemoryTree

from scalewitness.domain.translog.proofs import (
    consistency_proof,
    inclusion_proof,
    verify_consistency,
)
from scalewitness.domain.translog.tiles import Tile, nodes_in, tile_root
from scalewitness.domain.translog.tree import Frontier, leaf_hash, node_hash

MOST = 10_000
SIZES = st.integers(1, MOST)


def entry(number: int) -> bytes:
    return b'{"n":%d}' % number


@cache
def leaves() -> list[bytes]:
    return [leaf_hash(entry(number)) for number in range(MOST)]


@cache
def other() -> InmemoryTree:
    """Their tree over the same entries; positions count from 1."""
    tree = InmemoryTree(algorithm="sha256")
    for number in range(MOST):
        tree.append_entry(entry(number))
    return tree


def read(tile: Tile) -> bytes:
    """A tile's hashes, made from the leaves alone as the tables hold them."""
    start, end = tile.index * 256, tile.index * 256 + tile.width
    if tile.level == 0:
        return b"".join(leaves()[start:end])
    return b"".join(tile_root(read(Tile(tile.level - 1, index))) for index in range(start, end))


def ours(size: int) -> bytes:
    return Frontier().append(leaves()[:size]).root()


def _path(position: int, size: int) -> InclusionProof:
    return other().prove_inclusion(position + 1, size)


def _growth(old: int, new: int) -> list[bytes]:
    """Their consistency proof in the words of RFC 9162, 2.1.4.1: they walk on to the first
    new leaf where the RFC names the subtree that begins there, and always name the old
    tree, which the RFC leaves out where it is a subtree by itself."""
    proof = other().prove_consistency(old, new)
    turn = proof.subset.index(1)
    nodes = list(proof.path)
    if turn:
        right = nodes[0]
        for sibling in nodes[1:turn]:
            right = node_hash(right, sibling)
        nodes = [nodes[turn], right, *nodes[turn + 1 :]]
    return nodes[1:] if nodes[0] == other().get_root(old) else nodes


@settings(max_examples=25)
@given(SIZES, SIZES)
def test_roots_and_growth(one: int, two: int) -> None:
    old, new = sorted((one, two))
    root, grown = other().get_root(old), other().get_root(new)
    assert (ours(old), ours(new)) == (root, grown)
    proof = consistency_proof(old, new, nodes_in(read, new))
    assert proof == _growth(old, new)
    assert verify_consistency(size1=old, root1=root, size2=new, root2=grown, proof=proof)


@settings(max_examples=25)
@given(st.data())
def test_places(data: st.DataObject) -> None:
    size = data.draw(SIZES)
    position = data.draw(st.integers(0, size - 1))
    proof = inclusion_proof(position, size, nodes_in(read, size))
    theirs = _path(position, size)
    assert [leaves()[position], *proof] == theirs.path
    mine = InclusionProof(
        "sha256", True, size, position + 1, theirs.rule, [leaves()[position], *proof]
    )
    mine.verify(leaves()[position], ours(size), index=position + 1, size=size)
