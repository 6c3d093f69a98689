"""The best plan of a season is worked out on demand."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.collections.access import season_of_own
from scalewitness.api.operations import operation
from scalewitness.seasons.services.asking import ask_for_best


@operation("Ask for the best plan", gives={204: None})
def ask_for_best_plan(request: Request, id: UUID, year: int) -> Response:
    """It is in the season once it is worked out, within a minute or so."""
    collection = season_of_own(request, id, year)
    ask_for_best(collection, year, keeper_of(request).pk, timezone.now())
    return Response(status=204)
