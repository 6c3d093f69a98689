"""The token of a device that was approved on a page."""

from typing import Annotated, Literal

from django.utils import timezone
from msgspec import Meta
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of
from scalewitness.api.shapes.people import DeviceEnrolled
from scalewitness.domain.errors import (
    AccessDenied,
    AuthorizationPending,
    ExpiredToken,
    SlowDown,
)
from scalewitness.intake import devices
from scalewitness.people.models import Device, Keeper
from scalewitness.sign_in.services import handing_over


class TokenWanted(Sent, frozen=True, kw_only=True):
    """``device_code`` as the device was given it."""

    grant_type: Literal["urn:ietf:params:oauth:grant-type:device_code"]
    device_code: Annotated[str, Meta(min_length=1, max_length=100)]


@operation(
    "Fetch a device's token",
    takes=TokenWanted,
    gives={201: DeviceEnrolled},
    refuses=(AuthorizationPending, SlowDown, AccessDenied, ExpiredToken),
    anonymous=True,
    throttle="device_token",
    harmless=True,
)
def fetch_token(request: Request) -> Response:
    """The device access token request of RFC 8628, as JSON. Until the keeper has confirmed the
    device it is refused with `authorization_pending`; ask again after the interval, which grows
    by five seconds with each `slow_down`. The token is given once."""
    sent, now = body_of(request, TokenWanted), timezone.now()

    def enrol(keeper: Keeper, name: str) -> tuple[Device, str]:
        return devices.enrol_device(keeper, name, now)

    device, token = handing_over.fetch(sent.device_code, now, enrol)
    return Response(DeviceEnrolled(device.pk, device.name, token), 201)
