"""Which collections one may open."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request

from scalewitness.animals.models import Collection
from scalewitness.animals.queries import collection_of, for_steward
from scalewitness.api.authentication import keeper_of
from scalewitness.domain.errors import NotFound
from scalewitness.domain.season.stated import YEARS


def own_collection(request: Request, id: UUID, pointer: str | None = None) -> Collection:
    """A collection the asker keeps or is a partner in.

    Raises:
        NotFound: there is none, or it is someone else's.
    """
    keeper, now = keeper_of(request).pk, timezone.now()
    return for_steward(collection_of(id), lambda one: one, keeper, now, pointer=pointer)


def season_of_own(request: Request, id: UUID, year: int) -> Collection:
    """A collection the asker keeps or is a partner in, for its season of that year.

    Raises:
        NotFound: as above, or there are no seasons of such a year.
    """
    if year not in YEARS:
        raise NotFound()
    return own_collection(request, id)
