"""Which collections one may open."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request

from scalewitness.animals.models import Collection
from scalewitness.animals.queries import collection_of, is_steward
from scalewitness.api.authentication import keeper_of
from scalewitness.domain.errors import NotFound


def own_collection(request: Request, id: UUID, pointer: str | None = None) -> Collection:
    """A collection the asker keeps or is a partner in.

    Raises:
        NotFound: there is none, or it is someone else's.
    """
    found = collection_of(id)
    if found is None or not is_steward(keeper_of(request).pk, found, timezone.now()):
        raise NotFound(pointer=pointer)
    return found
