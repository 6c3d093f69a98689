"""One year's young of a collection: the plan, and what was worked out of it."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.collections.access import season_of_own
from scalewitness.api.operations import operation
from scalewitness.api.reading import etag
from scalewitness.api.shapes.seasons import SeasonOfCollection, season
from scalewitness.seasons.queries.shown import season_shown


@operation("Show a season", gives={200: SeasonOfCollection})
def show_season(request: Request, id: UUID, year: int) -> Response:
    """For whoever holds the collection or is a partner in it; worked out from what they may see.
    Some seconds after something that bears on it, it is worked out again."""
    found = season_shown(
        season_of_own(request, id, year), year, keeper_of(request).pk, timezone.now()
    )
    return Response(season(found), headers=etag(found.settings.version))
