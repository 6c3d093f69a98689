"""Opening a fenced log again, against what others hold of it."""

from collections.abc import Sequence
from datetime import datetime

import msgspec
from django.db import transaction

from scalewitness.domain.errors import BadSignature, LogContradicted, Malformed
from scalewitness.domain.translog.checkpoints import Checkpoint, NotACheckpoint
from scalewitness.domain.translog.notes import BadNote
from scalewitness.domain.translog.receipts import (
    FIRST_LINE,
    BadReceipt,
    Receipt,
    prove,
    read_receipt,
)
from scalewitness.ledger.models import Checkpoint as Signed
from scalewitness.ledger.models import Fence, Head, SignedHead
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.tree import Tip, root_at, tip
from scalewitness.ledger.services.fencing import shortfall
from scalewitness.ledger.services.memory import Unreliable, log_keys, open_own, remember, remembered


class Outside(msgspec.Struct, frozen=True):
    """A checkpoint of this log that came from outside its database."""

    tree: Tip
    note: str


class Adopted(msgspec.Struct, frozen=True):
    """What was opened: the log's head, the newest outside checkpoint it continues, and how
    many entries the newest checkpoint has that this copy itself had kept."""

    head: Tip
    outside: Tip
    known: int


def read_outside(data: bytes) -> Outside:
    """A checkpoint this log signed, from a signed note or from a receipt.

    Raises:
        Malformed: the file is neither.
        BadSignature: it is not signed under this log's key or a retired one, or the receipt
            does not hold.
    """
    if data.startswith(FIRST_LINE.encode()):
        return _from_receipt(data)
    try:
        return _outside(open_own(data), data.decode())
    except BadNote as fault:
        raise BadSignature(f"It is no checkpoint of this log: {fault}.") from None
    except NotACheckpoint as fault:
        raise Malformed(f"It is signed, but no checkpoint: {fault}.") from None


def _from_receipt(data: bytes) -> Outside:
    try:
        receipt = read_receipt(data)
    except BadReceipt as fault:
        raise Malformed(str(fault)) from None
    return _outside(_proven(receipt), str(receipt.checkpoint))


def _proven(receipt: Receipt) -> Checkpoint:
    """The receipt's checkpoint, once one of the log's keys vouches for it."""
    faults = []
    for key in log_keys():
        try:
            return prove(receipt, key).checkpoint
        except BadReceipt as fault:
            faults.append(str(fault))
    raise BadSignature(faults[0])


def _outside(checkpoint: Checkpoint, note: str) -> Outside:
    return Outside(Tip(checkpoint.size, checkpoint.root), note)


def adopt(outside: Sequence[Outside], now: datetime) -> Adopted:
    """Lift the fence if this log is what every given checkpoint says, or a later state of it,
    and continues all that it and the file of `LOG_MEMORY` know to have been signed. From
    then on nothing smaller than the newest of them is signed. Where no fence stands it is
    only checked.

    Raises:
        LogContradicted: it is smaller than one of them, or other; the fence stays. The
            detail says what is lost here.
        Malformed: only the empty log was given, which proves nothing.
    """
    newest = max(outside, key=lambda one: one.tree.size)
    with transaction.atomic():
        signed = SignedHead.objects.select_for_update().get(pk=1)
        Head.objects.select_for_update().get(pk=1)
        head = tip()
        if newest.tree.size == 0 < head.size:
            raise Malformed("A checkpoint of the empty log says nothing about these entries.")
        for tree in _all_known(outside, Tip(signed.size, bytes(signed.root))):
            _require(tree, head)
        _require_whole(head)
        known = Signed.objects.order_by("-size").values_list("size", flat=True).first() or 0
        if newest.tree.size > signed.size:
            signed.size, signed.root = newest.tree.size, newest.tree.root
            signed.save()
        _remember(newest)
        _lift(newest, head, now)
    return Adopted(head, newest.tree, known)


def _all_known(outside: Sequence[Outside], signed: Tip) -> list[Tip]:
    try:
        kept = remembered()
    except Unreliable as fault:
        raise LogContradicted(f"{fault}. Put it right or move it away first.") from None
    return [*(one.tree for one in outside), signed, *([kept] if kept else [])]


def _require(tree: Tip, head: Tip) -> None:
    fault = shortfall(tree, head)
    if fault is not None:
        raise LogContradicted(fault)


def _require_whole(head: Tip) -> None:
    """The head's root is what the stored tiles give."""
    try:
        whole = root_at(head.size) == head.root
    except ValueError:
        whole = False
    if not whole:
        raise LogContradicted("The tiles of this copy do not give its root: it is damaged.")


def _remember(newest: Outside) -> None:
    kept = remembered()
    if kept is None or kept.size < newest.tree.size:
        remember(newest.note, newest.tree)


def _lift(newest: Outside, head: Tip, now: datetime) -> None:
    if standing_fence() is not None:
        Fence.objects.create(
            state=Fence.State.LIFTED,
            reason=f"adopted against a checkpoint of {newest.tree.size} entries",
            at=now,
            size=head.size,
            root=head.root,
            note=newest.note,
        )
