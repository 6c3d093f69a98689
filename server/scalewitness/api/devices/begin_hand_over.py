"""A device asks its keeper for approval on a page."""

from typing import Annotated

from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from msgspec import Meta
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of, line
from scalewitness.api.shapes.people import HandOver
from scalewitness.domain.errors import OutOfRange
from scalewitness.rate_limit import address_of
from scalewitness.sign_in.services import handing_over


class HandOverWanted(Sent, frozen=True, kw_only=True):
    """``name`` is what the device is called, on the page too."""

    name: Annotated[str, Meta(min_length=1, max_length=60)]


@operation(
    "Ask for approval on a page",
    takes=HandOverWanted,
    gives={200: HandOver},
    refuses=(OutOfRange,),
    anonymous=True,
    throttle="sign_in",
    harmless=True,
)
def begin_hand_over(request: Request) -> Response:
    """The device authorization request of RFC 8628, for passkeys and for whoever would rather
    type no password here. Show `user_code` and `verification_uri`; the keeper types the code
    there. Then ask `devices/token` every `interval` seconds."""
    name = line(body_of(request, HandOverWanted).name, "/name", most=60)
    begun = handing_over.begin(name, address_of(request), timezone.now())
    return Response(
        HandOver(
            device_code=begun.device_code,
            user_code=begun.user_code,
            verification_uri=f"{settings.PUBLIC_URL}{reverse('add_device')}",
            expires_in=int(handing_over.LASTS.total_seconds()),
            interval=handing_over.INTERVAL,
        )
    )
