"""Receipts for what was said here, made from one's own bytes and the log's public tiles.

The server is not asked for the entry: its bytes are known here, so a receipt that holds shows
that the log has exactly what this device signed. And the tiles do not tell whom they are for.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import msgspec

from scalewitness.domain.translog.checkpoints import Checkpoint, read_body
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.leaf import Stamp, leaf_bytes
from scalewitness.domain.translog.notes import Note
from scalewitness.domain.translog.proofs import inclusion_proof, root_through
from scalewitness.domain.translog.receipts import BadReceipt, Receipt, prove, read_receipt
from scalewitness.domain.translog.tiles import nodes_in
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness_cli.identity import Identity
from scalewitness_cli.outbox import Item, keep_receipt, unproved
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store
from scalewitness_cli.witness import Log


@dataclass(frozen=True, slots=True)
class Receipts:
    """How many were made and hold, and the items that the log does not hold as sent."""

    held: int
    faulty: list[str]


def collect(
    store: Store, identity: Identity, log: Log, note: Note, keys: Sequence[VerifierKey]
) -> Receipts:
    """Make and check a receipt for each accepted fact that the checkpoint covers.

    Raises:
        Stopped: the log could not be read.
    """
    size = read_body(note.text).size
    node = nodes_in(log.tile, size)
    held, faulty = 0, []
    for item in unproved(store, below=size):
        assert item.position is not None  # noqa: S101  asked for by position
        try:
            proof = tuple(inclusion_proof(item.position, size, node))
            found = _receipt(item, identity, item.position, proof, note, keys)
        except ValueError as fault:
            found = str(fault)
        if isinstance(found, Receipt):
            keep_receipt(store, item, str(found), None)
            held += 1
        else:
            keep_receipt(store, item, None, found)
            faulty.append(item.id)
    return Receipts(held, faulty)


def _receipt(
    item: Item,
    identity: Identity,
    position: int,
    proof: tuple[bytes, ...],
    note: Note,
    keys: Sequence[VerifierKey],
) -> Receipt | str:
    """The receipt of the form that the log holds; else why none holds."""
    why = "no key of this log is trusted here"
    for entry in entries_of(item, identity):
        receipt = Receipt(entry, position, proof, note)
        for key in keys:
            try:
                prove(receipt, key)
                return receipt
            except BadReceipt as fault:
                why = str(fault)
    return why


def trees_in(store: Store, origin: str) -> list[Checkpoint]:
    """What the receipts kept here show of the log ``origin``: the trees that were signed, and
    those that end with one's own entries, whose roots the proofs give away.

    Raises:
        Stopped: a receipt is damaged.
    """
    rows = store.rows("SELECT id, receipt FROM outbox WHERE receipt IS NOT NULL")
    found = []
    for row in rows:
        try:
            found += _trees(read_receipt(row["receipt"].encode()))
        except ValueError as fault:
            raise Stopped(f"The receipt of {row['id']} kept here is damaged: {fault}") from None
    return [one for one in found if one.origin == origin]


def _trees(receipt: Receipt) -> list[Checkpoint]:
    head, at = read_body(receipt.checkpoint.text), receipt.position
    root = root_through(leaf_hash(receipt.entry), at, head.size, receipt.proof)
    return [head, Checkpoint(head.origin, at + 1, root)]


def entries_of(item: Item, identity: Identity) -> list[bytes]:
    """Every form that the log may hold an item in, the present one first. What the record
    stamped on it, it said in its answer: the proof holds only if that was true."""
    stamp = _stamp_of(item)
    return [_entry(form, identity, stamp) for form in _forms(item)]


def statements_of(item: Item, identity: Identity) -> list[bytes]:
    """As :func:`entries_of`, without what the record stamped on it."""
    return [_entry(form, identity, None) for form in _forms(item)]


def _forms(item: Item) -> list[dict[str, Any]]:
    return [item.sent | {"device": item.device}, *reversed(item.earlier)]


def _stamp_of(item: Item) -> Stamp | None:
    """None where the server named none, or something else: then only an entry of version 1
    can be the one that was sent."""
    try:
        return msgspec.convert((item.answer or {}).get("stamp"), Stamp | None)
    except msgspec.ValidationError:
        return None


def _entry(sent: dict[str, Any], identity: Identity, stamp: Stamp | None) -> bytes:
    return leaf_bytes(
        kind=sent["kind"],
        id=sent["id"],
        by=identity.keeper,
        device=sent["device"],
        at=sent["at"],
        about=sent["about"],
        body=sent["body"],
        sig=sent["sig"],
        stamp=stamp,
    )
