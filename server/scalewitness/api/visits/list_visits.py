"""The visits one hosts or is invited to."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.queries import is_steward
from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.visits import Visits, visit
from scalewitness.visits.queries import visits_seen


@operation("List my visits", gives={200: Visits})
def list_visits(request: Request) -> Response:
    """As host, as partner of the collection, or as guest; newest first."""
    keeper, now = keeper_of(request).pk, timezone.now()
    rows = visits_seen(keeper, now)
    mine = {row.collection_id: is_steward(keeper, row.collection, now) for row in rows}
    return Response(Visits([visit(row, now, host=mine[row.collection_id]) for row in rows]))
