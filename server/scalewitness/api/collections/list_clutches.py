"""The clutches of a collection."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.collections.access import own_collection
from scalewitness.api.operations import operation
from scalewitness.api.shapes.clutches import Clutches, clutch
from scalewitness.calls.queries.clutches import clutches_of


@operation("List clutches", gives={200: Clutches})
def list_clutches(request: Request, id: UUID) -> Response:
    """Young of the same parents hatched on the same day, latest first, with their count and
    an exact test of the sex ratio. Calls on a whole clutch go through `push`."""
    return Response(Clutches([clutch(one) for one in clutches_of(own_collection(request, id))]))
