"""Signing in on a device."""

from typing import Annotated

from django.utils import timezone
from msgspec import Meta
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness import guessing
from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of, line
from scalewitness.api.shapes.people import DeviceEnrolled
from scalewitness.domain.errors import (
    Busy,
    OutOfRange,
    SecondFactorMissing,
    SecondFactorRequired,
    SecondFactorWrong,
    WrongCredentials,
)
from scalewitness.intake import devices
from scalewitness.people.services import keeper_signing_in
from scalewitness.rate_limit import address_of
from scalewitness.sign_in.services.codes import admit


class Enrolment(Sent, frozen=True, kw_only=True):
    """``name`` is what the device is called in the keeper's list of devices. ``code``: where a
    second factor is set up, one of the authenticator app or a recovery code."""

    email: Annotated[str, Meta(max_length=254)]
    password: Annotated[str, Meta(max_length=200)]
    name: Annotated[str, Meta(min_length=1, max_length=60)]
    code: Annotated[str, Meta(max_length=20)] | None = None


@operation(
    "Sign in on a device",
    takes=Enrolment,
    gives={201: DeviceEnrolled},
    refuses=(
        Busy,
        OutOfRange,
        WrongCredentials,
        SecondFactorRequired,
        SecondFactorWrong,
        SecondFactorMissing,
    ),
    anonymous=True,
    throttle="sign_in",
    harmless=True,
)
def enrol_device(request: Request) -> Response:
    """The token goes into `Authorization: Bearer TOKEN` and is shown this once. Where the
    password alone is not enough, `second_factor_required` says so, and by its `kinds` what is:
    `totp`, `recovery_code` (send the same again with `code`) or `passkey`."""
    sent = body_of(request, Enrolment)
    name = line(sent.name, "/name", most=60)
    now = timezone.now()
    with guessing.one_try(sent.email, address_of(request)):
        keeper = keeper_signing_in(sent.email, sent.password)
        admit(keeper, sent.code, now)
    device, token = devices.enrol_device(keeper, name, now)
    return Response(DeviceEnrolled(device.pk, device.name, token), 201)
