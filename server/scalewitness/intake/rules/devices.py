"""Devices' keys: enrolled on the device itself, and revoked for good."""

from typing import cast
from uuid import UUID

from scalewitness.domain.errors import BadSignature, NotAllowed, NotFound, NotNow, OutOfRange
from scalewitness.domain.facts import DeviceKeyEnrolled, DeviceRevoked
from scalewitness.intake.batch import Batch
from scalewitness.intake.submission import Sealed
from scalewitness.people import services
from scalewitness.people.models import Device
from scalewitness.people.queries import device_of, holder_of


def device_key_enrolled(fact: Sealed, batch: Batch) -> int:
    """The fact is signed with the key it names, which intake has checked: so the device
    holds it."""
    body = cast(DeviceKeyEnrolled, fact.body)
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
    logged = batch.log(fact)
    services.store_device_key(logged)
    return logged.position


def device_revoked(fact: Sealed, batch: Batch) -> int:
    """From any device or page of its keeper; the one lost cannot be asked."""
    body = cast(DeviceRevoked, fact.body)
    device = _own_device(fact, body.device, batch)
    if not hasattr(device, "key"):
        raise NotNow("This device has no key; just sign it out.")
    if hasattr(device.key, "end"):
        raise NotNow("This device has been revoked.")
    logged = batch.log(fact)
    services.store_device_end(logged)
    return logged.position


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
    services.note_shared_key(holder, device.keeper_id, batch.now)
    return (
        "A device of another account holds this key. From now on both accounts count as one "
        "examiner. If they are different people, write to the operator."
    )
