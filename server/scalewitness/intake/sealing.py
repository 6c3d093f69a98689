"""Late calls enter the log as they come: under seal, so that no host can make one disappear and
none can read it."""

import os
from collections.abc import Iterable, Iterator
from uuid import UUID

from scalewitness.calls.models import HeldCall
from scalewitness.calls.queries.held import as_sent, first_of_visit
from scalewitness.calls.services import store_seal
from scalewitness.domain.errors import LogContradicted
from scalewitness.domain.facts import CallHeld
from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.commitment import SALT_BYTES
from scalewitness.domain.translog.sealing import KIND, SealedCall, is_sealed, seal
from scalewitness.intake.batch import Batch
from scalewitness.ledger.queries.entries import entry_at, leaf_of, lines_at


def seal_call(held: HeldCall, batch: Batch) -> None:
    """State that it came, and commit to it."""
    salt, first = os.urandom(SALT_BYTES), first_of_visit(held)
    body = CallHeld(
        held=str(held.pk),
        sealed=seal(as_sent(held), salt),
        same_visit_as=str(first) if first else None,
    )
    flags = tuple(held.submission["flags"])
    logged = batch.state(KIND, held.animal_id, body, at=held.received_at, flags=flags)
    store_seal(logged, salt)
    batch.sealed[held.pk] = _for_sender(logged.position, batch.entry_at(logged.position), salt)


def sealed_calls(held: Iterable[HeldCall]) -> Iterator[tuple[UUID, SealedCall]]:
    """What their sender is given of those of them that are under seal."""
    seals = {one.seal.position: one.seal for one in held if hasattr(one, "seal")}
    for line in lines_at(seals) if seals else ():
        kept = seals[line.position]
        yield kept.held_id, _for_sender(line.position, bytes(line.leaf), bytes(kept.salt))


def _for_sender(position: int, entry: bytes, salt: bytes) -> SealedCall:
    return SealedCall(position, encode64(entry), salt.hex())


def require_as_sealed(held: HeldCall) -> None:
    """See that what is to be admitted is what came. Without an entry it came before there were
    such, and nothing shows it.

    Raises:
        LogContradicted: it is not.
    """
    if not hasattr(held, "seal"):
        return
    entry = entry_at(held.seal.position)
    sealed = str(leaf_of(entry).body.get("sealed")) if entry else ""
    if not is_sealed(as_sent(held), bytes(held.seal.salt), sealed):
        raise LogContradicted()
