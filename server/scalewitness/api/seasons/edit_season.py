"""What is wanted of a season, and what is possible."""

from typing import Annotated
from uuid import UUID

import msgspec
from django.utils import timezone
from msgspec import Meta
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.collections.access import season_of_own
from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, already_so, body_of, etag, version_wanted
from scalewitness.api.shapes.seasons import SeasonOfCollection, season
from scalewitness.domain.errors import OutOfRange
from scalewitness.domain.season.stated import LimitsStated, NotWanted, WantStated, wants_of
from scalewitness.seasons.queries.seasons import settings_of
from scalewitness.seasons.queries.shown import season_shown
from scalewitness.seasons.services.settings import edit_season as edit


class SeasonEdit(Sent, frozen=True, kw_only=True):
    """All of it, in the place of what was. ``kept``: pairings that every proposal leaves alone."""

    wants: Annotated[tuple[WantStated, ...], Meta(max_length=60)] = ()
    limits: LimitsStated = LimitsStated()
    kept: Annotated[tuple[UUID, ...], Meta(max_length=1000)] = ()


@operation(
    "Edit a season",
    takes=SeasonEdit,
    gives={200: SeasonOfCollection},
    refuses=(OutOfRange,),
    edits=True,
)
def edit_season(request: Request, id: UUID, year: int) -> Response:
    """Under the version that it has, 0 before the first edit. Which animals are paired is said by
    facts alone."""
    sent = body_of(request, SeasonEdit)
    try:
        wants_of(sent.wants)
    except NotWanted as refused:
        raise OutOfRange(str(refused), pointer=refused.pointer) from None
    collection, keeper = season_of_own(request, id, year), keeper_of(request)
    now, settings = timezone.now(), settings_of(collection.pk, year)
    same = (sent.wants, sent.limits, sent.kept) == (
        settings.wants,
        settings.limits,
        settings.kept,
    )
    if not already_so(request, settings.version, same):
        version = version_wanted(request, settings.version)
        edit(collection, year, msgspec.to_builtins(sent), version=version, by=keeper, now=now)
    found = season_shown(collection, year, keeper.pk, now)
    return Response(season(found), headers=etag(found.settings.version))
