"""Revoking a device, from wherever its keeper is signed in."""

from datetime import datetime
from uuid import UUID

from scalewitness.domain.errors import NotFound, NotNow, Refused
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.batch import Actor, fresh_id
from scalewitness.intake.services import accept_one
from scalewitness.people import services
from scalewitness.people.models import Device, Keeper
from scalewitness.people.queries import device_of, devices_of


def revoke_device(keeper: Keeper, device_id: UUID, actor: Actor, now: datetime) -> None:
    """Its token stops working at once. Where it has a key that is a fact, so that the log
    tells from where on its signatures are worth nothing. Repeating it changes nothing.

    Raises:
        NotFound: not a device of this keeper.
    """
    device = device_of(keeper.pk, device_id)
    if device is None:
        raise NotFound()
    if _signs(device):
        _state(keeper, device_id, actor, now)
    else:
        services.revoke_device(keeper, device_id, now)


def revoke_signing_devices(keeper: Keeper, now: datetime) -> None:
    """For an account that is closed: the log tells that none of its keys sign any more."""
    for device in devices_of(keeper):
        if _signs(device):
            _state(keeper, device.pk, Actor(keeper=keeper.pk), now)


def _signs(device: Device) -> bool:
    return hasattr(device, "key") and not hasattr(device.key, "end")


def _state(keeper: Keeper, device_id: UUID, actor: Actor, now: datetime) -> None:
    item = {
        "id": str(fresh_id(now)),
        "kind": "device_revoked",
        "at": rfc3339(now),
        "about": str(keeper.pk),
        "body": {"device": str(device_id)},
    }
    try:
        accept_one(item, actor, now)
    except Refused as refused:
        if refused.as_problem()["code"] != NotNow.code:  # someone was quicker
            raise
