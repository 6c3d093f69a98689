"""The clutches of a collection."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.collections.access import own_collection
from scalewitness.api.operations import operation
from scalewitness.api.paging import CURSOR, LIMIT, PagePart
from scalewitness.api.shapes.clutches import Clutches, clutch
from scalewitness.breeding.queries.clutches import broods_in, clutches_of


@operation("List clutches", gives={200: Clutches}, query=(LIMIT, CURSOR))
def list_clutches(request: Request, id: UUID) -> Response:
    """Young of the same parents hatched on the same day, latest first, with their count and
    an exact test of the sex ratio. Calls on a whole clutch go through `push`. A parent that
    you are to check blind makes no clutch until your call is in. The `Link` header leads on."""
    keeper, now = keeper_of(request).pk, timezone.now()
    part = PagePart(request, broods_in(own_collection(request, id), keeper, now))
    shown = [clutch(one) for one in clutches_of(part.items, keeper, now)]
    return Response(Clutches(shown, part.next), headers=part.headers)
