"""Devices' keys: enrolled on the device itself, and revoked for good."""

from typing import cast
from uuid import UUID

from scalewitness.domain.errors import BadSignature, NotAllowed, NotFound, NotNow, OutOfRange
from scalewitness.domain.facts import (
    DeviceKeyEndorsed,
    DeviceKeyEnrolled,
    DeviceRevoked,
    SignaturesRequired,
)
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules import recovery
from scalewitness.intake.submission import Sealed
from scalewitness.letters import accounts as account_letters
from scalewitness.people.models import Device
from scalewitness.people.queries import device_of, holder_of
from scalewitness.people.queries.own_word import has_own, is_own, own_keys, ruled, waits_until
from scalewitness.people.services import keys

NOT_OWN = (
    "Nothing but the password stands for this device's key. Do it on another of your devices, or "
    "endorse this one there first. If none is left, revoke those that are lost."
)


def device_key_enrolled(fact: Sealed, batch: Batch) -> int:
    """The fact is signed with the key it names, which intake has checked: so the device
    holds it."""
    body = cast(DeviceKeyEnrolled, fact.body)
    if body.recovery:
        return recovery.enrol(fact, batch)
    device = _own_device(fact, body.device, batch)
    if device.pk != batch.actor.device:
        raise NotAllowed("A key is enrolled on the device that holds it.")
    if fact.sig is None:
        raise BadSignature("Sign this with the key it enrols.", pointer="/sig")
    if device.revoked_at is not None:
        raise NotNow("This device has been revoked.")
    if hasattr(device, "key"):
        raise NotNow("This device has its key; another key means another device.")
    holder = holder_of(body.key)
    if holder is not None:
        raise OutOfRange(_held_by(holder, device, batch), pointer="/body/key")
    rule = ruled(device.keeper_id, batch.now)
    logged = batch.log(fact)
    keys.store_device_key(logged)
    if rule.required:
        until = waits_until(device.pk, batch.now) if rule.wait else None
        account_letters.key_enrolled(device.keeper, device, until, batch.now)
    return logged.position


def device_revoked(fact: Sealed, batch: Batch) -> int:
    """From any device or page of its keeper; the one lost cannot be asked. Where only what is
    signed counts, from one whose key is the keeper's own word, or else of itself: a device that
    somebody slipped in by password silences no other."""
    body = cast(DeviceRevoked, fact.body)
    device = _own_device(fact, body.device, batch)
    if ruled(device.keeper_id, batch.now).required:
        by = signing_device(fact, batch)
        if by != device.pk and not is_own(by):
            raise NotAllowed(NOT_OWN)
    if not hasattr(device, "key"):
        raise NotNow("This device has no key; just sign it out.")
    if hasattr(device.key, "end"):
        raise NotNow("This device has been revoked.")
    logged = batch.log(fact)
    keys.store_device_end(logged)
    recovery.tell(fact, batch)
    return logged.position


def device_key_endorsed(fact: Sealed, batch: Batch) -> int:
    """Said on a device whose key is the keeper's own word, of another of theirs."""
    body = cast(DeviceKeyEndorsed, fact.body)
    device, by = _own_device(fact, body.device, batch), signing_device(fact, batch)
    if not is_own(by):
        raise NotAllowed(NOT_OWN)
    if not hasattr(device, "key") or device.key.public != body.key:
        raise OutOfRange("The device does not hold this key.", pointer="/body/key")
    if hasattr(device.key, "end"):
        raise NotNow("This device has been revoked.")
    if own_keys().filter(pk=device.pk).exists():
        raise NotNow("This device's key is your own word already.")
    logged = batch.log(fact)
    keys.store_endorsement(logged, by)
    recovery.tell(fact, batch, endorsed=device)
    return logged.position


def signatures_required(fact: Sealed, batch: Batch) -> int:
    """Said on a device whose key is the keeper's own word; where there is none yet and nothing is
    required, on any with a key, which then is."""
    body, keeper = cast(SignaturesRequired, fact.body), batch.actor.keeper
    if keeper is None or fact.about != keeper:
        raise NotFound()
    by, now = signing_device(fact, batch), ruled(keeper, batch.now)
    if not is_own(by) and (now.required or has_own(keeper)):
        raise NotAllowed(NOT_OWN)
    if now[:2] == (body.required, body.wait) or not (now.required or body.required):
        raise NotNow("So it is already.")
    logged = batch.log(fact)
    keys.store_signing_rule(logged, by)
    recovery.tell(fact, batch)
    return logged.position


def signing_device(fact: Sealed, batch: Batch) -> UUID:
    """The device that signed it."""
    if fact.sig is None or batch.actor.device is None:
        raise BadSignature("Only a device can state this, with its signature.", pointer="/sig")
    return batch.actor.device


def _own_device(fact: Sealed, device: str, batch: Batch) -> Device:
    found = device_of(batch.actor.keeper, UUID(device))
    if found is None or fact.about != batch.actor.keeper:
        raise NotFound()
    return found


def _held_by(holder: UUID, device: Device, batch: Batch) -> str:
    """The enrolment is signed with the key, so this device holds it as well: whoever uses the two
    accounts is taken to be one person, as far as agreement of examiners goes."""
    if holder == device.keeper_id:
        return "Another device holds this key."
    keys.note_shared_key(holder, device.keeper_id, batch.now)
    return (
        "A device of another account holds this key. From now on both accounts count as one "
        "examiner. If they are different people, write to the operator."
    )
