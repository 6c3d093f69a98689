"""Receipts: what they show, and that nothing in them can be changed unnoticed."""

from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.domain.translog.reference import path_of, root_of

from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.leaf import leaf_bytes
from scalewitness.domain.translog.notes import signed
from scalewitness.domain.translog.receipts import (
    BadReceipt,
    Receipt,
    claimed_origin,
    prove,
    read_receipt,
)
from scalewitness.domain.translog.tree import leaf_hash

LOG = Signer("log.example", KeyType.ED25519, bytes(range(32)))
OTHER = Signer("log.example", KeyType.ED25519, bytes(range(1, 33)))


@dataclass(frozen=True)
class Made:
    text: bytes
    entry: bytes


def made(position: int = 3, size: int = 9, signer: Signer = LOG) -> Made:
    entries = [
        leaf_bytes(
            kind="call_made",
            id=f"01890000-0000-7000-8000-{number:012x}",
            by=None,
            device=None,
            at="2026-11-25T10:00:00.000Z",
            about=None,
            body={"conclusion": "male"},
            sig=None,
        )
        for number in range(size)
    ]
    hashes = [leaf_hash(entry) for entry in entries]
    note = signed(Checkpoint(LOG.name, size, root_of(hashes)).body(), signer)
    proof = tuple(path_of(position, hashes))
    return Made(str(Receipt(entries[position], position, proof, note)).encode(), entries[position])


GOOD = made()


def test_a_receipt_proves_its_entry() -> None:
    proven = prove(read_receipt(GOOD.text), LOG.verifier)
    assert (proven.position, proven.checkpoint.size) == (3, 9)
    assert proven.entry.id.endswith("000000000003")


def test_it_is_the_form_of_c2sp_tlog_proof() -> None:
    """C2SP tlog-proof.md: version line, extra, index, hashes, blank line, checkpoint."""
    head, note = GOOD.text.decode().split("\n\n", 1)
    lines = head.split("\n")
    assert lines[0] == "c2sp.org/tlog-proof@v1"
    assert lines[1] == f"extra {encode64(GOOD.entry)}"
    assert lines[2] == "index 3"
    assert len(lines) == 3 + 4  # nine leaves: a path of four
    assert note.startswith("log.example\n9\n")


def test_the_only_entry_needs_no_hash() -> None:
    proven = prove(read_receipt(made(0, 1).text), LOG.verifier)
    assert proven.checkpoint.size == 1


@given(st.integers(0, len(GOOD.text) - 1), st.integers(1, 255))
def test_no_byte_can_be_changed(where: int, by: int) -> None:
    changed = bytearray(GOOD.text)
    changed[where] ^= by
    with pytest.raises(BadReceipt):
        prove(read_receipt(bytes(changed)), LOG.verifier)


@given(st.integers(0, len(GOOD.text) - 1))
def test_no_part_can_be_cut_off(length: int) -> None:
    with pytest.raises(BadReceipt):
        prove(read_receipt(GOOD.text[:length]), LOG.verifier)


@pytest.mark.parametrize(
    "data", [b"", b"\xff", b"x" * 300_000, GOOD.text + b"\n", b" " + GOOD.text]
)
def test_other_files_are_refused(data: bytes) -> None:
    with pytest.raises(BadReceipt):
        prove(read_receipt(data), LOG.verifier)


def test_another_key_of_the_same_name_is_refused() -> None:
    with pytest.raises(BadReceipt, match="no trusted key vouches"):
        prove(read_receipt(made(signer=OTHER).text), LOG.verifier)


def test_a_proof_of_another_position_is_refused() -> None:
    receipt = read_receipt(GOOD.text)
    for position in (2, 4, 9, 2**64 - 1):
        moved = Receipt(receipt.entry, position, receipt.proof, receipt.checkpoint)
        with pytest.raises(BadReceipt, match="not in the log"):
            prove(moved, LOG.verifier)


def test_bytes_that_the_log_holds_but_that_are_no_entry() -> None:
    raw = b"not an entry"
    note = signed(Checkpoint(LOG.name, 1, leaf_hash(raw)).body(), LOG)
    with pytest.raises(BadReceipt, match="not an entry"):
        prove(Receipt(raw, 0, (), note), LOG.verifier)


def test_the_claimed_log_can_be_asked_before_anything_is_verified() -> None:
    receipt = read_receipt(GOOD.text)
    assert claimed_origin(receipt) == "log.example"
