"""Where one is signed in."""

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import actor_of, keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.people import Devices, device
from scalewitness.people.queries import devices_of


@operation("List my devices", gives={200: Devices})
def list_devices(request: Request) -> Response:
    """Revoked ones too, newest first."""
    current = actor_of(request).device
    return Response(Devices([device(one, current) for one in devices_of(keeper_of(request))]))
