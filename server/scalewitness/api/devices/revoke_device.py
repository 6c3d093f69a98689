"""Signing a device out for good."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.people import services


@operation("Revoke a device", gives={204: None}, harmless=True)
def revoke_device(request: Request, id: UUID) -> Response:
    """Its token stops working at once. Doing it twice changes nothing."""
    services.revoke_device(keeper_of(request), id, timezone.now())
    return Response(status=204)
