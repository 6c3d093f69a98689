"""Tiles, proofs and checkpoints as stored, at sizes around the tiles' edges.

Roots and proofs are checked against RFC 9162's own recursion (``domain/translog/reference``).
"""

from hashlib import sha256

import pytest
from django.conf import LazySettings, settings
from django.db import connection, transaction
from tests.domain.translog.reference import path_of, root_of, subproof_of
from tests.ledger.growing import NOW, STATED, append, leaves

from scalewitness.domain.errors import LogContradicted
from scalewitness.domain.translog.keys import KeyType, Signer, read_signer
from scalewitness.domain.translog.notes import open_checkpoint
from scalewitness.ledger.models import Checkpoint, Head, SignedHead, Tile
from scalewitness.ledger.queries.tree import growth_proof, place_proof, root_at, tip
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.ledger.services.tiling import lay_tiles

pytestmark = pytest.mark.django_db


def tamper(table: str, change: str) -> None:
    """What a superuser can do: switch the guard off, change, switch it on."""
    with connection.cursor() as cursor:
        cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER ALL")
        cursor.execute(f"UPDATE {table} SET {change}")  # noqa: S608
        cursor.execute(f"ALTER TABLE {table} ENABLE TRIGGER ALL")


def test_tiles_fill_across_batches_and_prove_every_size() -> None:
    for more in (1, 254, 1, 1, 255, 300, 0, 700):
        append(more)
    all_leaves = leaves()
    size = len(all_leaves)
    assert tip().size == size == 1512
    assert tip().root == root_of(all_leaves) == root_at(size)
    assert Tile.objects.count() == 5
    for place, of in ((0, 1), (255, 256), (256, 257), (300, 1024), (1511, size)):
        assert place_proof(place, of) == path_of(place, all_leaves[:of])
    for old, new in ((1, 2), (255, 256), (256, 512), (511, 1025), (1000, size)):
        assert growth_proof(old, new) == subproof_of(old, all_leaves[:new])
    assert growth_proof(0, size) == growth_proof(size, size) == []


def test_a_second_level_fills() -> None:
    """65,536 leaves complete the first tile of level 1, however they arrive."""
    all_leaves = [sha256(number.to_bytes(4)).digest() for number in range(65_536)]
    lay_tiles(0, all_leaves[:65_280])
    lay_tiles(65_280, all_leaves[65_280:])
    assert Tile.objects.filter(level=1).count() == 1
    assert root_at(65_536) == root_of(all_leaves)
    assert place_proof(65_535, 65_536) == path_of(65_535, all_leaves)


@pytest.mark.parametrize(("place", "of"), [(-1, 3), (3, 3), (0, 4)])
def test_no_proof_of_what_is_not_there(place: int, of: int) -> None:
    append(3)
    with pytest.raises(ValueError, match=r"tree|log"):
        place_proof(place, of)


def test_checkpoints_are_signed_once_a_size() -> None:
    log = read_signer(settings.LOG_SIGNING_KEY).verifier
    append(3)
    first = sign_checkpoint(NOW)
    assert sign_checkpoint(NOW).pk == first.pk
    append(1)
    second = sign_checkpoint(NOW)
    for kept, size in ((first, 3 + STATED), (second, 4 + 2 * STATED)):
        head, _ = open_checkpoint(kept.note, log)
        assert (head.origin, head.size, head.root) == (log.name, size, root_of(leaves()[:size]))


def test_the_empty_log_can_be_signed() -> None:
    head, _ = open_checkpoint(
        sign_checkpoint(NOW).note, read_signer(settings.LOG_SIGNING_KEY).verifier
    )
    assert head.size == 0


def test_a_new_key_signs_the_same_head_again(settings: LazySettings) -> None:
    append(2)
    old = sign_checkpoint(NOW)
    new_key = Signer("testserver/log", KeyType.ED25519, bytes(32))
    settings.LOG_SIGNING_KEY = new_key.secret()
    new = sign_checkpoint(NOW)
    assert (old.size, bytes(old.root)) == (new.size, bytes(new.root))
    open_checkpoint(new.note, new_key.verifier)


def test_a_smaller_log_is_not_signed() -> None:
    append(5)
    sign_checkpoint(NOW)
    tamper("ledger_head", "size = 4")
    with pytest.raises(LogContradicted):
        sign_checkpoint(NOW)


def test_another_root_of_the_same_size_is_not_signed() -> None:
    append(5)
    sign_checkpoint(NOW)
    tamper("ledger_head", "root = sha256('x')")
    with pytest.raises(LogContradicted):
        sign_checkpoint(NOW)


def test_a_rewritten_past_is_not_signed() -> None:
    append(5)
    sign_checkpoint(NOW)
    tamper("ledger_entry", "leaf_hash = sha256('x') WHERE position = 2")
    append(2)
    with pytest.raises(LogContradicted):
        sign_checkpoint(NOW)


def test_a_first_checkpoint_needs_a_root_that_the_entries_bear_out() -> None:
    append(5)
    tamper("ledger_head", "root = sha256('x')")
    with pytest.raises(LogContradicted):
        sign_checkpoint(NOW)
    assert not Checkpoint.objects.exists()


def test_the_signed_head_only_grows() -> None:
    append(5)
    sign_checkpoint(NOW)
    with pytest.raises(Exception, match="only grows"), transaction.atomic():
        SignedHead.objects.update(size=4)
    with pytest.raises(Exception, match="only grows"), transaction.atomic():
        Head.objects.update(root=bytes(32))
