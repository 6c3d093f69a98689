"""Letting a device in by a page (RFC 8628): the device shows a short code, its keeper types that
into a page where they are signed in, looks at what asks, and confirms; the device then fetches
its token, once."""

import hashlib
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, TypeVar

from django.db import transaction
from django.utils.crypto import get_random_string, salted_hmac

from scalewitness.domain.errors import (
    AccessDenied,
    AuthorizationPending,
    ExpiredToken,
    HandOverRefused,
    NotFound,
    SlowDown,
)
from scalewitness.people.models import Keeper
from scalewitness.sign_in.models import DeviceRequest

LASTS: Final = timedelta(minutes=10)
"""Time to find the page, sign in and look for a code (our judgement)."""
INTERVAL: Final = 5
"""Seconds between two questions, and what is added for asking too often (RFC 8628, 3.2, 3.5)."""
LETTERS: Final = "BCDFGHJKLMNPQRSTVWXZ"
LENGTH: Final = 8
"""Of a code to type: 20 consonants, no digits, 34.5 bits (RFC 8628, 6.1)."""

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Begun:
    """What the device is told, this once."""

    device_code: str
    user_code: str


def begin(name: str, address: str, now: datetime) -> Begun:
    """Store a device's request for approval; ``address``: where it asks from."""
    device_code, user_code = secrets.token_urlsafe(32), get_random_string(LENGTH, LETTERS)
    with transaction.atomic():
        DeviceRequest.objects.filter(expires_at__lte=now).delete()
        DeviceRequest.objects.create(
            device_digest=_digest(device_code),
            user_digest=_keyed(user_code),
            name=name,
            address=address[:64],
            asked_at=now,
            expires_at=now + LASTS,
            interval=INTERVAL,
        )
    half = LENGTH // 2
    return Begun(device_code, f"{user_code[:half]}-{user_code[half:]}")


def waiting(user_code: str, now: datetime) -> DeviceRequest:
    """The device that shows this code and waits for an answer.

    Raises:
        NotFound: none does, any more.
    """
    live = DeviceRequest.objects.filter(expires_at__gt=now, keeper=None, refused=False)
    found = live.filter(user_digest=_keyed(user_code)).first()
    if found is None:
        raise NotFound("No device waits under this code. It works once, for ten minutes.")
    return found


def decide(asking: DeviceRequest, keeper: Keeper, now: datetime, *, approved: bool) -> None:
    """The keeper's answer: the first one counts.

    Raises:
        NotFound: it was answered before, or is over.
    """
    live = DeviceRequest.objects.filter(
        pk=asking.pk, expires_at__gt=now, keeper=None, refused=False
    )
    if not live.update(**({"keeper": keeper} if approved else {"refused": True})):
        raise NotFound("This was answered already, or took too long.")


def forget_approved(keeper: Keeper) -> None:
    """Forget devices that this keeper approved and that have not fetched their token."""
    DeviceRequest.objects.filter(keeper=keeper).delete()


def fetch(device_code: str, now: datetime, enrol: Callable[[Keeper, str], T]) -> T:
    """What ``enrol`` makes of the keeper who approved the device, and its name; once.

    Raises:
        AuthorizationPending: nobody answered yet.
        SlowDown: the device asks too often, and must ask more rarely from now on.
        AccessDenied: the keeper does not want it.
        ExpiredToken: the time is over, or the token was fetched.
    """
    with transaction.atomic():  # a refusal too leaves its mark
        row = DeviceRequest.objects.select_for_update().select_related(None)
        asking = row.filter(device_digest=_digest(device_code), expires_at__gt=now).first()
        refusal = _refusal(asking, now)
        if refusal is None and asking is not None and asking.keeper is not None:
            keeper, name = asking.keeper, asking.name
            asking.delete()
            return enrol(keeper, name)
    raise refusal or ExpiredToken()


def _refusal(asking: DeviceRequest | None, now: datetime) -> HandOverRefused | None:
    if asking is None:
        return ExpiredToken()
    if asking.refused or (asking.keeper is not None and not asking.keeper.is_active):
        return AccessDenied()
    soon = asking.polled_at and now < asking.polled_at + timedelta(seconds=asking.interval)
    asking.polled_at = now
    asking.interval += INTERVAL if soon else 0
    asking.save(update_fields=["polled_at", "interval"])
    if soon:
        return SlowDown()
    return AuthorizationPending() if asking.keeper is None else None


def _digest(device_code: str) -> str:
    """Of 256 random bits: nothing to guess, so it needs no key."""
    return hashlib.sha256(device_code.encode()).hexdigest()


def _keyed(user_code: str) -> str:
    """Of a code short enough to be tried out, if its digest needed no key. Spaces, dashes and
    case do not matter (RFC 8628, 6.1)."""
    typed = "".join(one for one in user_code.upper() if one.isalpha())
    return salted_hmac("scalewitness.user_code", typed, algorithm="sha256").hexdigest()
