"""Devices' keys: what facts about them leave behind, and who else holds one."""

from datetime import datetime
from uuid import UUID

from scalewitness.domain.errors import NotFound
from scalewitness.domain.facts import (
    DeviceKeyEndorsed,
    DeviceKeyEnrolled,
    DeviceRevoked,
    SignaturesRequired,
    SigningNoticeGiven,
    SigningNoticeStopped,
)
from scalewitness.ledger.services.writing import Logged
from scalewitness.people.models import (
    Device,
    DeviceKey,
    DeviceKeyEnd,
    Keeper,
    KeyEndorsement,
    SharedKey,
    SigningNotice,
    SigningNoticeStop,
    SigningRule,
)


def enrol_browser(keeper: Keeper, device: UUID, name: str, now: datetime) -> tuple[Device, bool]:
    """A device that has no token: it only signs what its keeper sends on pages. With whether it is
    new.

    Raises:
        NotFound: the id stands for a device of somebody else.
    """
    fields = {"keeper": keeper, "name": name, "enrolled_at": now}
    made, is_new = Device.objects.get_or_create(pk=device, defaults=fields)
    if made.keeper_id != keeper.pk:
        raise NotFound()
    return made, is_new


def store_device_key(fact: Logged[DeviceKeyEnrolled]) -> None:
    DeviceKey.objects.create(
        device_id=UUID(fact.body.device),
        position=fact.position,
        public=fact.body.key,
        at=fact.at,
        recovery=fact.body.recovery,
    )


def store_recovery_key(fact: Logged[DeviceKeyEnrolled], name: str) -> Device:
    """A key on paper, listed among the devices under this name. No token is of it."""
    device = Device.objects.create(
        pk=UUID(fact.body.device), keeper_id=fact.about, name=name, enrolled_at=fact.received_at
    )
    store_device_key(fact)
    return device


def store_device_end(fact: Logged[DeviceRevoked]) -> None:
    """The key signs nothing from here on, and the device's token stops working."""
    device = Device.objects.select_for_update().get(pk=UUID(fact.body.device))
    DeviceKeyEnd.objects.create(key_id=device.pk, position=fact.position, at=fact.received_at)
    sign_out(device, fact.received_at)


def store_endorsement(fact: Logged[DeviceKeyEndorsed], by: UUID) -> None:
    """``by``: the device that signed it."""
    KeyEndorsement.objects.create(key_id=UUID(fact.body.device), position=fact.position, by_id=by)


def store_signing_rule(fact: Logged[SignaturesRequired], device: UUID) -> None:
    """``device``: that signed it."""
    SigningRule.objects.create(
        id=fact.id,
        position=fact.position,
        keeper_id=fact.about,
        device_id=device,
        required=fact.body.required,
        wait=fact.body.wait,
    )


def store_signing_notice(fact: Logged[SigningNoticeGiven]) -> None:
    SigningNotice.objects.create(
        id=fact.id, position=fact.position, keeper_id=fact.about, at=fact.received_at
    )


def store_signing_notice_stop(fact: Logged[SigningNoticeStopped], device: UUID) -> None:
    """``device``: that signed it."""
    SigningNoticeStop.objects.create(
        notice_id=UUID(fact.body.notice), position=fact.position, device_id=device
    )


def note_shared_key(first: UUID, second: UUID, now: datetime) -> None:
    """Both accounts hold one key. One that was lifted stays so."""
    pair = sorted((first, second))
    SharedKey.objects.get_or_create(first_id=pair[0], second_id=pair[1], defaults={"at": now})


def lift_shared_key(first: UUID, second: UUID, now: datetime) -> bool:
    """An objection was right; whether they ever shared a key."""
    pair = sorted((first, second))
    rows = SharedKey.objects.filter(first=pair[0], second=pair[1])
    rows.filter(lifted_at=None).update(lifted_at=now)
    return rows.exists()


def sign_out(device: Device, now: datetime) -> None:
    """Its token stops working at once."""
    token, device.token = device.token, None
    device.revoked_at = device.revoked_at or now
    device.save()
    if token is not None:
        token.delete()
