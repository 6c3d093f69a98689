"""The log as stored: leaves, hashes and root, checked against the published vectors."""

import hashlib
import json
from pathlib import Path

import pytest
import rfc8785
from tests.world import World

from scalewitness.domain.translog.tree import Frontier
from scalewitness.ledger.models import Entry, Head
from scalewitness.ledger.queries.tree import tip

VECTORS = Path(__file__).parents[1] / "vectors"
pytestmark = pytest.mark.django_db


def rfc9162_root(leaves: list[bytes]) -> bytes:
    """The tree hash as RFC 9162 section 2.1.1 defines it, written from the definition."""
    if not leaves:
        return hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return hashlib.sha256(b"\x00" + leaves[0]).digest()
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    left, right = rfc9162_root(leaves[:k]), rfc9162_root(leaves[k:])
    return hashlib.sha256(b"\x01" + left + right).digest()


def test_the_definition_used_here_reproduces_the_published_tree() -> None:
    """RFC 6962 eight-leaf tree, from github.com/transparency-dev/merkle testonly."""
    tree = json.loads((VECTORS / "merkle_rfc6962.json").read_text())["eight_leaf_tree"]
    leaves = [bytes.fromhex(leaf) for leaf in tree["leaf_inputs_hex"]]
    for size, root in enumerate(tree["roots_by_size"]):
        assert rfc9162_root(leaves[:size]).hex() == root


def test_the_stored_root_is_that_of_the_stored_leaves(world: World) -> None:
    assert tip().root == rfc9162_root(
        [bytes(leaf) for leaf in Entry.objects.order_by("position").values_list("leaf", flat=True)]
    )
    animal = world.verified("V1")
    for _ in range(3):
        world.pass_time(days=1)
        world.call(world.odile, animal, "male")
        leaves = [
            bytes(leaf)
            for leaf in Entry.objects.order_by("position").values_list("leaf", flat=True)
        ]
        assert tip() == type(tip())(len(leaves), rfc9162_root(leaves))


def test_every_leaf_is_its_own_canonical_form(world: World) -> None:
    """RFC 8785: parsing a leaf and canonicalising it again gives the same bytes."""
    world.sold(world.verified("V1"))
    for entry in Entry.objects.all():
        leaf = bytes(entry.leaf)
        assert rfc8785.dumps(json.loads(leaf)) == leaf
        assert hashlib.sha256(b"\x00" + leaf).digest() == bytes(entry.leaf_hash)
        assert set(json.loads(leaf)) == {
            "v", "kind", "id", "by", "device", "at", "about", "body", "sig",
            "received", "flags",
        }  # fmt: skip


def test_the_empty_log_has_the_root_of_the_empty_tree() -> None:
    head = Head.objects.get()
    assert (head.size, bytes(head.root)) == (0, hashlib.sha256(b"").digest())
    assert Frontier.from_bytes(bytes(head.frontier)).size == 0
