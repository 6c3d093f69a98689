"""Devices that come and go: a letter for each new one, and their end.

A token ends at once, whatever state the log is in: nothing is taken from a device without one.
That its key signs nothing any more is a fact besides, owed where the log takes none just now.
"""

from contextlib import suppress
from datetime import datetime
from uuid import UUID

from django.db import transaction

from scalewitness.domain.errors import (
    Busy,
    Fenced,
    NotAllowed,
    NotFound,
    NotNow,
    Refused,
    SignatureRequired,
)
from scalewitness.domain.moments import rfc3339
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept_one
from scalewitness.letters import accounts as account_letters
from scalewitness.people import services
from scalewitness.people.models import Device, Keeper
from scalewitness.people.queries import (
    device_of,
    devices_of,
    devices_with_a_lasting_key,
    idle_devices,
    recovery_key_of,
)
from scalewitness.people.queries.own_word import ruled
from scalewitness.people.services import keys
from scalewitness.sign_in.services.handing_over import forget_approved

ON_A_DEVICE = (
    "You ruled that only what your devices sign counts, so a recovery key ends on a device of "
    "yours: scalewitness revoke-device."
)
NOT_NOW = (Fenced, Busy)
"""What keeps the log from taking the fact; a token does not wait for that."""


def revoke_device(keeper: Keeper, device_id: UUID, actor: Actor, now: datetime) -> None:
    """Its token stops working at once. Where it has a key that is a fact, so that the log
    tells from where on its signatures are worth nothing. Repeating it changes nothing.

    Raises:
        NotFound: not a device of this keeper.
        NotAllowed: it is a recovery key, and only what devices sign counts: whoever knows the
            password could otherwise take the keeper's way in.
    """
    device = device_of(keeper.pk, device_id)
    if device is None:
        raise NotFound()
    if recovery_key_of(keeper.pk, device_id) and ruled(keeper.pk, now).required:
        raise NotAllowed(ON_A_DEVICE)
    with suppress(*NOT_NOW):
        if _signs(device) and _state(keeper, device_id, actor, now):
            return
    services.revoke_device(keeper, device_id, now)


def enrol_device(keeper: Keeper, name: str, now: datetime) -> tuple[Device, str]:
    """Sign a keeper in on a device, whose token is shown this once; a letter tells them."""
    with transaction.atomic():
        device, token = services.enrol_device(keeper, name, now)
        account_letters.device_added(keeper, device, now)
    return device, token


def enrol_browser(keeper: Keeper, device: UUID, name: str, now: datetime) -> Device:
    """The keeper's browser as a device, before its key is enrolled; a letter tells them. Repeating
    it changes nothing.

    Raises:
        NotFound: the id stands for a device of somebody else.
    """
    with transaction.atomic():
        made, is_new = keys.enrol_browser(keeper, device, name, now)
        if is_new:
            account_letters.browser_signs(keeper, made, now)
    return made


def sign_out_everywhere(keeper: Keeper, now: datetime) -> int:
    """Every device and browser of the keeper is signed out, and no key of theirs signs any
    more; how many devices were signed in. What was made on one and not sent yet stays there,
    and is sent when its keeper signs in on it again."""
    with transaction.atomic():
        revoke_signing_devices(keeper, now)  # first: it takes the log's lock
        forget_approved(keeper)
        return services.sign_out_everywhere(keeper, now)


def end_devices(now: datetime) -> int:
    """Sign out devices nobody used for long, and say the facts that were owed when the log took
    none; how many devices that was. Safe to repeat."""
    idle = list(idle_devices(now))
    lasting = list(devices_with_a_lasting_key())
    owed = [one for one in lasting if not ruled(one.keeper_id, now).required]
    for device in idle:
        revoke_device(device.keeper, device.pk, Actor(keeper=device.keeper_id), now)
    with suppress(*NOT_NOW):
        for device in owed:
            _state(device.keeper, device.pk, Actor(keeper=device.keeper_id), now)
    return len(idle) + len(owed)


def revoke_signing_devices(keeper: Keeper, now: datetime) -> None:
    """The log tells that none of the keeper's keys sign any more; later, where it takes nothing
    just now."""
    with suppress(*NOT_NOW):
        for device in devices_of(keeper):
            if _signs(device):
                _state(keeper, device.pk, Actor(keeper=keeper.pk), now)


def _signs(device: Device) -> bool:
    return hasattr(device, "key") and not hasattr(device.key, "end")


def _state(keeper: Keeper, device_id: UUID, actor: Actor, now: datetime) -> bool:
    """Whether the log has it now. False where nothing counts in the keeper's name without a
    signature: then the key ends once a device of theirs states it, signed."""
    if ruled(keeper.pk, now).required:
        return False
    item = {
        "id": str(fresh_id(now)),
        "kind": "device_revoked",
        "at": rfc3339(now),
        "about": str(keeper.pk),
        "body": {"device": str(device_id)},
    }
    try:
        accept_one(item, actor, now, ending=True)
    except Refused as refused:
        code = refused.as_problem()["code"]
        if code not in {NotNow.code, SignatureRequired.code}:  # someone was quicker
            raise
        return bool(code == NotNow.code)
    return True
