"""Giving out receipts: an entry, its inclusion proof and a checkpoint over it."""

from datetime import datetime

from scalewitness.domain.errors import LogContradicted
from scalewitness.domain.translog.notes import read_note
from scalewitness.domain.translog.receipts import Receipt, prove
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.tree import place_proof
from scalewitness.ledger.queries.witnesses import cosigned_note
from scalewitness.ledger.services.signing import checkpoint_over, log_key


def receipt_of(entry: Entry, now: datetime) -> Receipt:
    """The entry's receipt under the latest checkpoint, with the cosignatures it has; one is
    signed where none covers it. Whether it may be seen is for the caller to know.

    Raises:
        LogContradicted: nothing can be signed, or what is stored does not bear it out: a
            receipt that would not hold is never given out.
        Fenced: no checkpoint covers it, and the log is fenced.
    """
    checkpoint = checkpoint_over(entry.position, now)
    try:
        proof = tuple(place_proof(entry.position, checkpoint.size))
        note = read_note(cosigned_note(checkpoint))
        receipt = Receipt(bytes(entry.leaf), entry.position, proof, note)
        prove(receipt, log_key())
    except ValueError:
        raise LogContradicted() from None
    return receipt
