"""Reading what others hold of this log: signed checkpoints, bare or in a receipt."""

import msgspec
from django.conf import settings

from scalewitness.domain.errors import BadSignature, Malformed
from scalewitness.domain.translog.checkpoints import Checkpoint, NotACheckpoint
from scalewitness.domain.translog.keys import VerifierKey, read_verifier
from scalewitness.domain.translog.notes import BadNote, Note, SignatureLine, read_note
from scalewitness.domain.translog.receipts import (
    FIRST_LINE,
    BadReceipt,
    Receipt,
    prove,
    read_receipt,
)
from scalewitness.domain.translog.witnessing import read_target
from scalewitness.ledger.models import Cosignature, Witness
from scalewitness.ledger.queries.tree import Tip
from scalewitness.ledger.services.memory import log_keys, open_own


class Outside(msgspec.Struct, frozen=True):
    """A checkpoint of this log, under its name or one before, that came from outside its
    database."""

    origin: str
    tree: Tip
    note: str


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
        raise BadSignature(f"It is not a checkpoint of this log: {fault}.") from None
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
    return Outside(checkpoint.origin, Tip(checkpoint.size, checkpoint.root), note)


def newly_cosigned_by(one: Outside) -> str | None:
    """The name of a witness this log knows whose line under the checkpoint is not in the
    database: somebody outside has put it there. None where there is none such."""
    note = read_note(one.note)
    held = set(Cosignature.objects.filter(size=one.tree.size).values_list("line", flat=True))
    fresh = [line for line in note.lines if str(line).removesuffix("\n") not in held]
    return next((key.name for key in _witnesses() if _holds(key, note, fresh)), None)


def _witnesses() -> list[VerifierKey]:
    named = [read_target(one).key for one in settings.LOG_WITNESSES]
    return [*named, *map(read_verifier, Witness.objects.values_list("key", flat=True))]


def _holds(key: VerifierKey, note: Note, lines: list[SignatureLine]) -> bool:
    mine = [one for one in lines if (one.name, one.key_id) == (key.name, key.key_id)]
    return any(key.check(note.text, one.signature) is not None for one in mine)
