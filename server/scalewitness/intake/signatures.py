"""A device's signature on a fact: checked mostly before anyone waits for the lock.

A signature is over the very entry the log will hold, with ``sig`` null: id, kind, keeper,
device, time, subject and body. Hence none can be moved to another fact, animal, time or
sender. Which key the device holds is looked at again under the lock, where a revocation
cannot slip in between.
"""

from collections.abc import Sequence
from typing import TypeVar

import msgspec

from scalewitness.domain.errors import BadSignature
from scalewitness.domain.facts import DeviceKeyEnrolled
from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.signatures import verify_ed25519
from scalewitness.intake.batch import Actor, draft_of
from scalewitness.intake.submission import Sealed
from scalewitness.people.queries import signing_key

DEVICE_KINDS = frozenset({"device_key_enrolled", "device_revoked"})
T = TypeVar("T")


def prove(items: Sequence[Sealed | T], actor: Actor) -> list[Sealed | T]:
    """The items, the signed ones with the key their signature fits: the device's, or the one
    it enrols in this batch. Costs nothing where nobody signs."""
    signed = [one for one in items if isinstance(one, Sealed) and one.sig is not None]
    if not signed:
        return list(items)
    enrolled = (key for one in signed if (key := _enrols(one)))
    key = signing_key(actor.keeper, actor.device) or next(enrolled, None)
    return [_proved(one, key, actor) if isinstance(one, Sealed) else one for one in items]


def _proved(item: Sealed, key: bytes | None, actor: Actor) -> Sealed:
    key = _enrols(item) or key
    return msgspec.structs.replace(item, proved=key if _fits(item, key, actor) else None)


class Signatures:
    """The signatures of one batch, under the lock; all are of the one device that sends."""

    def __init__(self, actor: Actor) -> None:
        self._actor = actor
        self._key: bytes | None = None
        self._stale = True

    def require(self, item: Sealed) -> None:
        """A signature there is must fit the key that the device holds now.

        Raises:
            BadSignature: forged, of another fact or device, or of one revoked or without key.
        """
        if item.sig is not None:
            key = _enrols(item) or self._current()
            if key is None or (item.proved != key and not _fits(item, key, self._actor)):
                raise BadSignature(_hint(item), pointer="/sig")
        self._stale = self._stale or item.kind in DEVICE_KINDS

    def _current(self) -> bytes | None:
        if self._stale:
            self._key = signing_key(self._actor.keeper, self._actor.device)
            self._stale = False
        return self._key


def _enrols(item: Sealed) -> bytes | None:
    """The key an enrolment names, with which it must be signed itself."""
    return bytes.fromhex(item.body.key) if isinstance(item.body, DeviceKeyEnrolled) else None


def _fits(item: Sealed, key: bytes | None, actor: Actor) -> bool:
    if key is None or item.sig is None:
        return False
    draft = item.draft or draft_of(item, actor)
    return verify_ed25519(key, draft.signable(), decode64(item.sig))


def _hint(item: Sealed) -> str:
    if item.salted_here:
        return "Salt the texts yourself: their commitments are part of what is signed."
    return "It is not this device's signature over this fact."
