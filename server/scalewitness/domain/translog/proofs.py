"""Inclusion and consistency proofs of RFC 9162 sections 2.1.3 and 2.1.4.

Both are one walk from the root towards a leaf, noting the sibling at every turn; a
consistency proof stops at the subtree that ends where the old tree ended. Makers and
checkers share the walk, so a proof of any other length cannot pass.

Checkers answer False to anything malformed and never raise on it: proofs come from
strangers.
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple, TypeAlias

from scalewitness.domain.translog.tree import (
    EMPTY_ROOT,
    MAX_SIZE,
    fold_right,
    is_hash,
    node_hash,
)

NodeReader: TypeAlias = Callable[[int, int], bytes]
"""``node(level, index)``: the root of the perfect subtree over the leaves
[index·2^level, (index+1)·2^level). Asked only for subtrees that lie wholly in the tree."""


class _Sibling(NamedTuple):
    """The leaves [begin, end) beside the walk, and the side they lie on."""

    begin: int
    end: int
    is_left: bool


class _Walk(NamedTuple):
    """Siblings from the leaf upwards, and the subtree [begin, end) the walk stopped at."""

    siblings: list[_Sibling]
    begin: int
    end: int


def _walk(leaf: int, size: int, boundary: int | None = None) -> _Walk:
    """Walk down to ``leaf``, stopping early at a subtree that ends at ``boundary``."""
    siblings: list[_Sibling] = []
    begin, end = 0, size
    while end - begin > 1 and end != boundary:
        middle = begin + (1 << ((end - begin - 1).bit_length() - 1))
        if leaf < middle:
            siblings.append(_Sibling(middle, end, is_left=False))
            end = middle
        else:
            siblings.append(_Sibling(begin, middle, is_left=True))
            begin = middle
    siblings.reverse()
    return _Walk(siblings, begin, end)


def _subtree(begin: int, end: int, node: NodeReader) -> bytes:
    """The root over the leaves [begin, end), from the perfect subtrees it is made of."""
    roots: list[bytes] = []
    while begin < end:
        level = (end - begin).bit_length() - 1
        roots.append(node(level, begin >> level))
        begin += 1 << level
    return fold_right(roots)


def tree_root(size: int, node: NodeReader) -> bytes:
    """The root over the first ``size`` leaves, from the perfect subtrees they are made of."""
    return _subtree(0, size, node) if size else EMPTY_ROOT


def inclusion_proof(index: int, size: int, node: NodeReader) -> list[bytes]:
    """The hashes that join leaf ``index`` to the root of the first ``size`` leaves.

    The leaf's sibling comes first, the root's child last. Raises ValueError unless
    0 ≤ index < size.
    """
    if not 0 <= index < size:
        raise ValueError(f"leaf {index} is not in a tree of {size}")
    return [_subtree(sibling.begin, sibling.end, node) for sibling in _walk(index, size).siblings]


def root_through(leaf_hash: bytes, index: int, size: int, proof: Sequence[bytes]) -> bytes:
    """The root over the leaves up to and with ``index``, from its inclusion proof in the tree of
    ``size``: the siblings to its left are all that lies before it. For a proof that holds.

    Raises:
        ValueError: the proof has another length.
    """
    root = leaf_hash
    for sibling, hash in zip(_walk(index, size).siblings, proof, strict=True):
        root = node_hash(hash, root) if sibling.is_left else root
    return root


def consistency_proof(size1: int, size2: int, node: NodeReader) -> list[bytes]:
    """The hashes that show the tree of ``size1`` leaves to be the start of that of ``size2``.

    Nothing needs showing for the empty tree or for equal sizes: the proof is empty.
    Raises ValueError unless 0 ≤ size1 ≤ size2.
    """
    if not 0 <= size1 <= size2:
        raise ValueError(f"a tree of {size1} leaves cannot grow into one of {size2}")
    if size1 == 0:
        return []
    walk = _walk(size1 - 1, size2, boundary=size1)
    # A subtree that begins at 0 is the old tree itself, whose root the checker holds.
    start = [] if walk.begin == 0 else [_subtree(walk.begin, walk.end, node)]
    return start + [_subtree(sibling.begin, sibling.end, node) for sibling in walk.siblings]


def verify_inclusion(
    *, leaf_hash: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes
) -> bool:
    """Whether ``proof`` shows the leaf to stand at ``index`` of the ``size``-leaf tree."""
    if not 0 <= index < size <= MAX_SIZE:
        return False
    if not all(map(is_hash, (leaf_hash, root, *proof))):
        return False
    siblings = _walk(index, size).siblings
    if len(siblings) != len(proof):
        return False
    running = leaf_hash
    for sibling, given in zip(siblings, proof, strict=True):
        running = node_hash(given, running) if sibling.is_left else node_hash(running, given)
    return running == root


def verify_consistency(
    *, size1: int, root1: bytes, size2: int, root2: bytes, proof: Sequence[bytes]
) -> bool:
    """Whether ``proof`` shows the second tree to begin with the first.

    From the empty tree any tree grows, by an empty proof (C2SP tlog-witness): such an
    answer says nothing about ``root2``.
    """
    if not 0 <= size1 <= size2 <= MAX_SIZE:
        return False
    if not all(map(is_hash, (root1, root2, *proof))):
        return False
    if size1 == 0:
        return not proof and root1 == EMPTY_ROOT and (size2 == 0) == (root2 == EMPTY_ROOT)
    return _grows(size1, root1, size2, root2, proof)


def _grows(size1: int, root1: bytes, size2: int, root2: bytes, proof: Sequence[bytes]) -> bool:
    walk = _walk(size1 - 1, size2, boundary=size1)
    given = [root1, *proof] if walk.begin == 0 else list(proof)
    if len(given) != 1 + len(walk.siblings):
        return False
    old = new = given[0]
    for sibling, root in zip(walk.siblings, given[1:], strict=True):
        if sibling.is_left:
            old, new = node_hash(root, old), node_hash(root, new)
        else:
            new = node_hash(new, root)
    return old == root1 and new == root2
