"""Receipts: one entry, its place in the log and a signed checkpoint, checkable offline.

A receipt is a C2SP tlog-proof whose ``extra`` line carries the entry's canonical bytes.
"""

from typing import Final

import msgspec

from scalewitness.domain.translog.base64s import decode64, encode64
from scalewitness.domain.translog.canonical import BadJson, NotCanonical
from scalewitness.domain.translog.checkpoints import (
    Checkpoint,
    NotACheckpoint,
    read_body,
    read_size,
)
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.leaf import MAX_ENTRY_BYTES, Leaf, NotALeaf, read_leaf
from scalewitness.domain.translog.notes import BadNote, Note, Opened, open_checkpoint, read_note
from scalewitness.domain.translog.proofs import verify_inclusion
from scalewitness.domain.translog.tree import HASH_BYTES, leaf_hash

FIRST_LINE: Final = "c2sp.org/tlog-proof@v1"
MAX_HASHES: Final = 63
"""An inclusion proof in a tree of fewer than 2^63 leaves is no longer."""
MAX_RECEIPT_BYTES: Final = 4 * MAX_ENTRY_BYTES


class BadReceipt(ValueError):
    """The file is no receipt, or what it claims does not hold. The text says why."""


class Receipt(msgspec.Struct, frozen=True):
    """A receipt as it stands, nothing verified."""

    entry: bytes
    position: int
    proof: tuple[bytes, ...]
    checkpoint: Note

    def __str__(self) -> str:
        hashes = "".join(f"{encode64(one)}\n" for one in self.proof)
        extra = encode64(self.entry)
        return f"{FIRST_LINE}\nextra {extra}\nindex {self.position}\n{hashes}\n{self.checkpoint}"

    @property
    def file_name(self) -> str:
        """What to call it as a file."""
        return f"scalewitness-{self.position}.receipt"


class Proven(msgspec.Struct, frozen=True):
    """What a receipt shows once it is checked against the log's key."""

    entry: Leaf
    position: int
    checkpoint: Checkpoint
    signatures: Opened


def read_receipt(data: bytes) -> Receipt:
    """A receipt's parts, nothing verified.

    Raises:
        BadReceipt: any other shape.
    """
    if len(data) > MAX_RECEIPT_BYTES:
        raise BadReceipt("The file is far too long for a receipt.")
    try:
        text = data.decode()
    except UnicodeDecodeError:
        raise BadReceipt("The file is not text.") from None
    head, blank, note = text.partition("\n\n")
    first, *lines = head.split("\n")
    if first != FIRST_LINE or not blank:
        raise BadReceipt("The file is not a receipt: it does not begin as one.")
    if len(lines) < 2 or not lines[0].startswith("extra ") or not lines[1].startswith("index "):
        raise BadReceipt("The receipt lacks its entry or its position.")
    try:
        return Receipt(
            decode64(lines[0].removeprefix("extra ")),
            read_size(lines[1].removeprefix("index ")),
            _hashes(lines[2:]),
            read_note(note),
        )
    except ValueError as fault:
        raise BadReceipt(f"The receipt is damaged: {fault}.") from None


def _hashes(lines: list[str]) -> tuple[bytes, ...]:
    hashes = tuple(map(decode64, lines))
    if len(hashes) > MAX_HASHES or any(len(one) != HASH_BYTES for one in hashes):
        raise ValueError("its proof is not a list of hashes")
    return hashes


def prove(receipt: Receipt, log: VerifierKey, cosigners: tuple[VerifierKey, ...] = ()) -> Proven:
    """What the receipt shows, checked with nothing but the log's public key.

    Raises:
        BadReceipt: the checkpoint is not signed by the log, a trusted cosigner's line
            fails, the entry is not in the signed tree at its position, or it is no entry.
    """
    try:
        checkpoint, opened = open_checkpoint(receipt.checkpoint, log, cosigners)
    except (BadNote, NotACheckpoint) as fault:
        raise BadReceipt(f"The checkpoint cannot be relied on: {fault}.") from None
    if not verify_inclusion(
        leaf_hash=leaf_hash(receipt.entry),
        index=receipt.position,
        size=checkpoint.size,
        proof=receipt.proof,
        root=checkpoint.root,
    ):
        raise BadReceipt(
            "The entry is not in the log that was signed: it or its proof was altered."
        )
    try:
        entry = read_leaf(receipt.entry)
    except (BadJson, NotCanonical, NotALeaf) as fault:
        raise BadReceipt(
            f"The log holds these bytes, but they are not an entry: {fault}."
        ) from None
    return Proven(entry, receipt.position, checkpoint, opened)


def claimed_origin(receipt: Receipt) -> str:
    """The log the receipt says it is from, unverified; empty where it says none."""
    try:
        return read_body(receipt.checkpoint.text).origin
    except NotACheckpoint:
        return ""
