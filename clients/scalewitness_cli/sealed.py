"""Late calls that wait for a host: what shows that they came, and what they said.

The record seals each into the log as it comes, and hands its sender the entry and the salt that
opens it. They are kept here and held to everything that the record says of the call later: that the
log has the entry, that a call once sealed is not forgotten, and that a refusal is its host's. What
another device had sent before it was taken over is sealed in the form that it was sent in, which
is not known here.
"""

from collections.abc import Iterator, Sequence
from typing import Any

import msgspec

from scalewitness.domain.translog.base64s import decode64, encode64
from scalewitness.domain.translog.checkpoints import read_body
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.leaf import Leaf, read_leaf
from scalewitness.domain.translog.notes import Note
from scalewitness.domain.translog.proofs import inclusion_proof
from scalewitness.domain.translog.receipts import BadReceipt, Proven, Receipt, prove, read_receipt
from scalewitness.domain.translog.record_map import Link
from scalewitness.domain.translog.sealing import NotSealed, SealedCall, is_sealed, require_sealed
from scalewitness.domain.translog.tiles import nodes_in
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness_cli.identity import Identity
from scalewitness_cli.outbox import Item, items
from scalewitness_cli.receipts import statements_of
from scalewitness_cli.remote import Api, Refusal
from scalewitness_cli.store import Store, keep
from scalewitness_cli.witness import Log

FORMAT = "scalewitness late call, version 1"
DECIDED = "late_call_decided"
_PREFIX = "seal:"


class Kept(msgspec.Struct, frozen=True):
    """``receipt``: that the log holds the entry; ``decision``: the receipt of what was decided,
    where that was a refusal; ``fault``: what does not fit; ``alarmed``: there was an alarm."""

    seal: SealedCall
    receipt: str | None = None
    decision: str | None = None
    fault: str | None = None
    alarmed: bool = False


class LateCall(msgspec.Struct, frozen=True):
    """A file that shows a late call and that it came: the ``receipt`` of its entry, what was
    ``sent`` (base64), and the ``salt``. Whoever has it can read the call."""

    format: str
    receipt: str
    sent: str
    salt: str


def seals(store: Store) -> dict[str, Kept]:
    """What is kept, by the id of the call."""
    rows = store.rows("SELECT name, content FROM kept WHERE name LIKE ?", f"{_PREFIX}%")
    return {
        row["name"].removeprefix(_PREFIX): msgspec.json.decode(row["content"], type=Kept)
        for row in rows
    }


def _put(store: Store, id: str, kept: Kept) -> None:
    with store.change() as connection:
        keep(connection, f"{_PREFIX}{id}", msgspec.json.encode(kept).decode())


def note_seals(store: Store, identity: Identity) -> None:
    """Keep what the record answered of late calls, each held to what it answered before."""
    known = seals(store)
    for item in _own_calls(store, "held"):
        before, now = known.get(item.id), _given(item)
        if before is None and now is not None:
            _put(store, item.id, _first(item, identity, now))
        elif before is not None and now != before.seal and before.fault is None:
            why = "the record forgot it: it answers now as if it had not been sealed there"
            _put(store, item.id, msgspec.structs.replace(before, fault=why))


def _own_calls(store: Store, *states: Any) -> Iterator[Item]:
    elsewhere = {row["id"] for row in store.rows("SELECT id FROM elsewhere")}
    for item in items(store, *states):
        if item.what == "fact" and item.sent["kind"] == "call_made" and item.id not in elsewhere:
            yield item


def _given(item: Item) -> SealedCall | None:
    """None from a server that does not seal, or where it answers something else."""
    try:
        return msgspec.convert((item.answer or {}).get("seal"), SealedCall | None)
    except msgspec.ValidationError:
        return None


def _first(item: Item, identity: Identity, given: SealedCall) -> Kept:
    try:
        require_sealed(given, statements_of(item, identity))
    except NotSealed as fault:
        return Kept(given, fault=f"the entry that it was answered with does not hold: {fault}")
    return Kept(given)


def newest_unproved(store: Store, since: int) -> tuple[int, str] | None:
    """Position and call of the last entry from there on that no receipt is kept of."""
    kept = seals(store).items()
    open_ones = [(one.seal.position, id) for id, one in kept if not (one.receipt or one.fault)]
    return max((one for one in open_ones if one[0] >= since), default=None)


def prove_seals(
    store: Store, api: Api, log: Log, note: Note, keys: Sequence[VerifierKey]
) -> list[str]:
    """Hold what is kept to the log; what does not fit and was not told before, as clauses.

    Raises:
        Unreachable, Stopped: the server or the log could not be read.
    """
    if not (all_kept := seals(store)):
        return []
    refused = {one.id for one in _own_calls(store, "refused")}
    size = read_body(note.text).size
    node = nodes_in(log.tile, size)
    for id, kept in all_kept.items():
        now = kept
        if now.fault is None and now.receipt is None and now.seal.position < size:
            proof = inclusion_proof(now.seal.position, size, node)
            receipt = Receipt(decode64(now.seal.entry), now.seal.position, tuple(proof), note)
            now = _shown(now, receipt, keys)
        if now.fault is None and now.decision is None and id in refused:
            now = _decided(now, id, api, keys)
        if now != kept:
            _put(store, id, now)
    return [
        f"call {id}, sealed at position {one.seal.position}: {one.fault}"
        for id, one in seals(store).items()
        if one.fault is not None and not one.alarmed
    ]


def set_alarmed(store: Store) -> None:
    """Of all that does not fit there is an alarm now."""
    for id, one in seals(store).items():
        if one.fault is not None and not one.alarmed:
            _put(store, id, msgspec.structs.replace(one, alarmed=True))


def _shown(kept: Kept, receipt: Receipt, keys: Sequence[VerifierKey]) -> Kept:
    try:
        _proved(receipt, keys)
    except BadReceipt as fault:
        return msgspec.structs.replace(kept, fault=f"the log does not hold that entry: {fault}")
    return msgspec.structs.replace(kept, receipt=str(receipt))


def _decided(kept: Kept, id: str, api: Api, keys: Sequence[VerifierKey]) -> Kept:
    """The record refuses it: because its host did, as the log says, or on its own account."""
    try:
        receipt = read_receipt(api.file(f"receipts/{id}"))
        entry = _proved(receipt, keys).entry
    except Refusal as refusal:
        if refusal.status != 404:
            return kept  # asked again next time
        return msgspec.structs.replace(kept, fault="it is refused, and no decision is on record")
    except BadReceipt as fault:
        return msgspec.structs.replace(kept, fault=f"what was decided is not shown: {fault}")
    if (entry.kind, entry.body.get("held"), entry.body.get("admitted")) != (DECIDED, id, False):
        return msgspec.structs.replace(kept, fault="it is refused, and its host did not refuse it")
    return msgspec.structs.replace(kept, decision=str(receipt))


def _proved(receipt: Receipt, keys: Sequence[VerifierKey]) -> Proven:
    why = "no key of this log is trusted here"
    for key in keys:
        try:
            return prove(receipt, key)
        except BadReceipt as fault:
            why = str(fault)
    raise BadReceipt(why)


def links_of(store: Store) -> dict[str, list[Link]]:
    """By the animal, the places in its record of entries that seal calls of one's own."""
    found: dict[str, list[Link]] = {}
    for kept in seals(store).values():
        if kept.fault is None:
            entry = decode64(kept.seal.entry)
            link = Link(kept.seal.position, leaf_hash(entry))
            found.setdefault(read_leaf(entry).about or "", []).append(link)
    return found


# --- as a file ------------------------------------------------------------------------------


def file_of(store: Store, item: Item, identity: Identity) -> str | None:
    """What shows a late call that is not on record; None where none was proved here."""
    kept = seals(store).get(item.id)
    if kept is None or kept.receipt is None:
        return None
    salt, sealed = bytes.fromhex(kept.seal.salt), read_leaf(decode64(kept.seal.entry)).body
    forms = statements_of(item, identity)
    sent = next(one for one in forms if is_sealed(one, salt, sealed["sealed"]))
    made = LateCall(FORMAT, kept.receipt, encode64(sent), kept.seal.salt)
    return msgspec.json.format(msgspec.json.encode(made)).decode() + "\n"


def read_file(data: bytes) -> LateCall | None:
    """The parts, nothing verified; None where it is another kind of file."""
    try:
        found = msgspec.json.decode(data, type=LateCall)
    except msgspec.DecodeError:
        return None
    return found if found.format == FORMAT else None


def call_in(late: LateCall, receipt: Receipt) -> Leaf:
    """The call under seal in the entry of the file's own ``receipt``.

    Raises:
        BadReceipt: it is another.
    """
    try:
        sent = decode64(late.sent)
        kept = SealedCall(receipt.position, encode64(receipt.entry), late.salt)
        require_sealed(kept, [sent])
        return read_leaf(sent)
    except ValueError as fault:
        raise BadReceipt(f"The call in it is not the one under seal: {fault}.") from None
