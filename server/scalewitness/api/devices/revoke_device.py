"""Signing a device out for good."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import actor_of, keeper_of
from scalewitness.api.operations import operation
from scalewitness.domain.errors import NotAllowed
from scalewitness.intake import devices


@operation("Revoke a device", gives={204: None}, refuses=(NotAllowed,), harmless=True)
def revoke_device(request: Request, id: UUID) -> Response:
    """Its token stops working at once, and nothing signed with its key is taken any more; what
    it signed stays signed. Doing it twice changes nothing. Refused of a recovery key where only
    what devices sign counts: a device states its end."""
    devices.revoke_device(keeper_of(request), id, actor_of(request), timezone.now())
    return Response(status=204)
