"""The prefix tree: roots and proofs against a few lines that follow the draft word for word."""

from hashlib import sha256
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalewitness.domain.translog.prefix_tree import (
    ROOT,
    Node,
    changed,
    nodes_over,
    path_leaf,
    root_from,
    siblings_of,
)


def by_the_draft(leaves: list[tuple[bytes, bytes]], depth: int = 0) -> bytes:
    """The root as draft-ietf-keytrans-protocol defines it, of all leaves at once: a leaf is
    Hash(0x01 || path || value), a parent Hash(0x02 || left || right), nothing is zeros."""
    if len(leaves) < 2:
        return sha256(b"\x01" + b"".join(leaves[0])).digest() if leaves else bytes(32)
    sides = ([], [])  # type: tuple[list[tuple[bytes, bytes]], list[tuple[bytes, bytes]]]
    for path, value in leaves:
        bits = "".join(f"{byte:08b}" for byte in path)
        sides[int(bits[depth])].append((path, value))
    return sha256(b"\x02" + b"".join(by_the_draft(side, depth + 1) for side in sides)).digest()


def close(random: Random) -> bytes:
    """A path that often has many first bits in common with others."""
    return (bytes([random.choice((0, 1, 255))]) * random.randrange(5) + random.randbytes(32))[:32]


def seeded(number: int) -> Random:
    return Random(number)  # noqa: S311  to be the same again


class Kept:
    """Nodes in memory."""

    def __init__(self) -> None:
        self.nodes: dict[int, Node] = {}
        self.asked = 0

    def __call__(self, places):  # type: ignore[no-untyped-def]
        self.asked += 1
        return {one: self.nodes[one] for one in places if one in self.nodes}


@given(st.integers(0, 2**32), st.integers(1, 6))
def test_batches_give_the_root_of_all_at_once_and_each_leaf_is_proved(
    seed: int, batches: int
) -> None:
    random, kept, everything = seeded(seed), Kept(), dict[bytes, bytes]()
    for _ in range(batches):
        batch = {close(random): random.randbytes(32) for _ in range(random.randrange(1, 20))}
        if everything:
            batch[random.choice(sorted(everything))] = random.randbytes(32)
        everything |= batch
        leaves = {path: path_leaf(path, value) for path, value in batch.items()}
        kept.nodes |= changed(leaves, kept)
        root = by_the_draft(sorted(everything.items()))
        assert kept.nodes[ROOT].hash == root
    hashed = [(path, path_leaf(path, value)) for path, value in sorted(everything.items())]
    assert dict(nodes_over(hashed)) == kept.nodes, "of all at once, the nodes kept step by step"
    for path, leaf in hashed:
        siblings = siblings_of(path, kept, ahead=3)
        assert root_from(path, leaf, siblings) == root


def test_one_leaf_is_the_root_and_none_is_zeros() -> None:
    path = bytes(range(32))
    kept = Kept()
    kept.nodes |= changed({path: b"l" * 32}, kept)
    assert kept.nodes == {ROOT: Node(b"l" * 32, path)}
    assert siblings_of(path, kept) == []
    assert list(nodes_over([])) == []
    assert changed({}, kept) == {}


def test_what_is_not_there_is_not_proved() -> None:
    random, kept = seeded(1), Kept()
    kept.nodes |= changed({random.randbytes(32): random.randbytes(32) for _ in range(50)}, kept)
    with pytest.raises(KeyError):
        siblings_of(random.randbytes(32), kept)


def test_a_change_costs_what_changes() -> None:
    """Of a thousand leaves, one change reads the table once a level and writes one path."""
    random, kept = seeded(2), Kept()
    leaves = {random.randbytes(32): random.randbytes(32) for _ in range(1000)}
    kept.nodes |= changed(leaves, kept)
    kept.asked = 0
    made = changed({min(leaves): b"n" * 32}, kept)
    assert len(made) < 30
    assert kept.asked < 30


@pytest.mark.parametrize("order", [(2, 1), (1, 1)], ids=["out of order", "twice"])
def test_a_root_over_leaves_out_of_order_is_refused(order: tuple[int, int]) -> None:
    with pytest.raises(ValueError, match="in order"):
        list(nodes_over([(bytes([one]) * 32, bytes(32)) for one in order]))


def test_parts_of_another_length_make_no_root() -> None:
    for parts in ((b"", bytes(32), []), (bytes(32), bytes(31), []), (bytes(32), bytes(32), [b""])):
        with pytest.raises(ValueError, match="32 bytes"):
            root_from(*parts)
    with pytest.raises(ValueError, match="at most one"):
        root_from(bytes(32), bytes(32), [bytes(32)] * 257)
