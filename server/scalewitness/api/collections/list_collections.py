"""The collections one keeps or shares."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.queries import stewarded_collections
from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.animals import Collections, collection


@operation("List my collections", gives={200: Collections})
def list_collections(request: Request) -> Response:
    """Own ones first, then those one is a partner in."""
    keeper = keeper_of(request).pk
    rows = stewarded_collections(keeper, timezone.now())
    return Response(Collections([collection(row, keeper) for row in rows]))
