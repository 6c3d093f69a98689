"""Taking cosignatures: verified, kept for good, known again."""

from datetime import UTC, datetime, timedelta
from uuid import UUID

from django.db import transaction

from scalewitness.domain.errors import (
    BadSignature,
    CheckpointUnknown,
    FutureDate,
    NotAllowed,
    OutOfRange,
    WitnessUnknown,
)
from scalewitness.domain.facts import WitnessRevoked
from scalewitness.domain.translog.keys import KeyType, VerifierKey
from scalewitness.domain.translog.notes import SignatureLine, read_note
from scalewitness.ledger.models import Checkpoint, Cosignature, Witness, WitnessEnd
from scalewitness.ledger.services.signing import log_signer
from scalewitness.ledger.services.writing import Logged

AHEAD = timedelta(minutes=5)
"""How far a witness's clock may run ahead (our judgement, as for devices)."""
MOST_KEYS = 10
"""Witness keys of one keeper: one a machine, and some lost (our judgement)."""
MOST_EVER = 50
"""Of one keeper, with those that they revoked: everybody is shown these (our judgement)."""
NAME_DIGITS = 16


def take_from_keeper(
    keeper: UUID, key: VerifierKey, line: SignatureLine, size: int, root: bytes, now: datetime
) -> tuple[Cosignature, bool]:
    """A keeper's cosignature under the checkpoint of ``size`` and ``root``, and whether it
    is new. Its key is registered by the first one, which proves that they hold it.

    Raises:
        OutOfRange: the key is not a witness's, or its name could tell who it is.
        NotAllowed: the key is somebody else's, or the keeper has too many.
        CheckpointUnknown, WitnessUnknown, BadSignature, FutureDate: as :func:`take`.
    """
    _require_plain_name(key)
    held = Witness.objects.filter(key=str(key)).first()
    if held is not None and held.keeper != keeper:
        raise NotAllowed("This witness key is registered by somebody else.")
    if held is None:
        _require_room(keeper)
    return take(keeper, key, line, size, root, now)


def _require_room(keeper: UUID) -> None:
    own = Witness.objects.filter(keeper=keeper)
    if own.filter(end=None).count() >= MOST_KEYS:
        raise NotAllowed(f"A keeper has at most {MOST_KEYS} witness keys.")
    if own.count() >= MOST_EVER:
        raise NotAllowed(f"A keeper registers at most {MOST_EVER} witness keys, revoked ones too.")


def take(
    keeper: UUID | None,
    key: VerifierKey,
    line: SignatureLine,
    size: int,
    root: bytes,
    now: datetime,
) -> tuple[Cosignature, bool]:
    """A witness's line, once it holds, and whether it is new. One that was taken for the
    same size before stays as it was.

    Raises:
        CheckpointUnknown: the log vouched for no such checkpoint.
        WitnessUnknown: the line is of another key.
        NotAllowed: its keeper revoked the key; of smaller trees too, since a thief could say
            that it saw them.
        BadSignature: it does not hold.
        FutureDate: it is made for a time that lies ahead by more than :data:`AHEAD`.
    """
    checkpoint = Checkpoint.objects.filter(size=size, root=root).first()
    if checkpoint is None:
        raise CheckpointUnknown(f"The log vouched for no tree of {size} entries with this root.")
    at = _verified(read_note(checkpoint.note).text, key, line, now)
    with transaction.atomic():
        witness, _ = Witness.objects.get_or_create(
            key=str(key), defaults={"keeper": keeper, "registered_at": now}
        )
        if witness.keeper != keeper:  # registered meanwhile
            raise NotAllowed("This witness key is registered by somebody else.")
        if hasattr(witness, "end"):
            raise NotAllowed("This witness key was revoked. Cosign with another.")
        return Cosignature.objects.get_or_create(
            witness=witness,
            size=size,
            defaults={
                "root": root,
                "line": str(line).removesuffix("\n"),
                "at": at,
                "received_at": now,
            },
        )


def store_end(fact: Logged[WitnessRevoked], size: int) -> None:
    """What the key says of trees of ``size`` or larger is worth nothing."""
    WitnessEnd.objects.create(witness_id=fact.body.key, position=fact.position, size=size)


def _verified(text: str, key: VerifierKey, line: SignatureLine, now: datetime) -> datetime:
    if (line.name, line.key_id) != (key.name, key.key_id):
        raise WitnessUnknown(f"The line is of {line.name}, not of the key of {key.name}.")
    held = key.check(text, line.signature)
    if held is None or held.at is None:
        raise BadSignature("The cosignature does not hold for this checkpoint.")
    if held.at > (now + AHEAD).timestamp():
        raise FutureDate("The cosignature is made for a time that lies ahead.")
    return datetime.fromtimestamp(held.at, UTC)


def _require_plain_name(key: VerifierKey) -> None:
    """A name of nothing but the log's and random digits: served to everyone, it must tell
    nothing of anyone."""
    prefix = f"{log_signer().name}/witness/"
    digits = key.name.removeprefix(prefix)
    plain = len(digits) == NAME_DIGITS and set(digits) <= set("0123456789abcdef")
    if key.type is not KeyType.COSIGNATURE:
        raise OutOfRange("A witness key is an Ed25519 cosignature key (type 04).", pointer="/key")
    if not key.name.startswith(prefix) or not plain:
        raise OutOfRange(
            f"A witness is named {prefix} and {NAME_DIGITS} random hex digits.", pointer="/key"
        )
