"""A device's signature on a fact: checked mostly before anyone waits for the lock.

A signature is over the very entry the log will hold, with ``sig`` null: id, kind, keeper,
device, time, subject and body. Hence none can be moved to another fact, animal, time or
sender. Which key the device holds is looked at again under the lock, where a revocation
cannot slip in between.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import TypeVar

import msgspec

from scalewitness.domain.errors import BadSignature, KeyWaits, NotAllowed, SignatureRequired
from scalewitness.domain.facts import DeviceKeyEnrolled
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.devices import recovers
from scalewitness.domain.translog.signatures import verify_ed25519
from scalewitness.intake.batch import Actor, draft_of
from scalewitness.intake.submission import Sealed
from scalewitness.people.queries import SigningKey, signing_key
from scalewitness.people.queries.own_word import Ruled, ruled, waits_until

DEVICE_KINDS = frozenset(
    {
        "device_key_enrolled",
        "device_revoked",
        "device_key_endorsed",
        "signatures_required",
        "signing_notice_given",
        "signing_notice_stopped",
    }
)
WAY_OUT = "signing_notice_given"
"""What a keeper whose devices are all lost states without a signature."""
TAKES_A_SIGNATURE = (
    "This keeper ruled that nothing counts in their name but what a device of theirs signed, and "
    "this is not signed. Record it on the phone or with the command, or "
    "let this browser sign: in your account, under Devices."
)
WAITS = (
    "Nothing but the password stands for this device's key, and its keeper ruled that such keys "
    "wait three days. It counts at once if another of their devices endorses it."
)
T = TypeVar("T")


def prove(items: Sequence[Sealed | T], actor: Actor) -> list[Sealed | T]:
    """The items, the signed ones with the key their signature fits: the device's, or the one
    it enrols in this batch. Costs nothing where nobody signs."""
    signed = [one for one in items if isinstance(one, Sealed) and one.sig is not None]
    if not signed:
        return list(items)
    enrolled = (key for one in signed if (key := _enrols(one)))
    held = signing_key(actor.keeper, actor.device)
    key = held.public if held else next(enrolled, None)
    return [_proved(one, key, actor) if isinstance(one, Sealed) else one for one in items]


def _proved(item: Sealed, key: bytes | None, actor: Actor) -> Sealed:
    key = _enrols(item) or key
    return msgspec.structs.replace(item, proved=key if _fits(item, key, actor) else None)


class Signatures:
    """The signatures of one batch, under the lock; all are of the one device that sends."""

    def __init__(self, actor: Actor, now: datetime) -> None:
        self._actor, self._now = actor, now
        self._key: SigningKey | None = None
        self._stale = True
        self._ruled: Ruled | None = None

    def require(self, item: Sealed) -> None:
        """A signature there is must fit the key that the device holds now.

        Raises:
            BadSignature: forged, of another fact or device, or of one revoked or without key.
            NotAllowed: it is a recovery key's, which does not sign this.
        """
        if item.sig is not None:
            current = self._current()
            key = _enrols(item) or (current and current.public)
            if key is None or (item.proved != key and not _fits(item, key, self._actor)):
                raise BadSignature(_hint(item), pointer="/sig")
            if current and current.recovery and not recovers(item.kind, item.logged_body()):
                raise NotAllowed("A recovery key does not sign this.")
        self._stale = self._stale or item.kind in DEVICE_KINDS

    def require_own_word(self, item: Sealed) -> None:
        """What is new in a keeper's name is signed, where they ruled that.

        Raises:
            SignatureRequired: it is not.
            KeyWaits: no device endorsed the key that signed it, and it does not count yet.
        """
        rule = self._ruled or ruled(self._actor.keeper, self._now)
        self._ruled = None if item.kind in DEVICE_KINDS else rule
        if not rule.required or item.kind == WAY_OUT:
            return
        if item.sig is None:
            raise SignatureRequired(TAKES_A_SIGNATURE)
        if rule.wait and item.kind not in DEVICE_KINDS and self._actor.device is not None:
            until = waits_until(self._actor.device, self._now)
            if until is not None and self._now < until:
                raise KeyWaits(WAITS, until=rfc3339(until))

    def _current(self) -> SigningKey | None:
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
