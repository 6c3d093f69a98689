"""Which visits one may open, and from which side."""

from datetime import datetime
from uuid import UUID

from rest_framework.request import Request

from scalewitness.animals.queries import is_steward
from scalewitness.api.authentication import keeper_of
from scalewitness.domain.errors import NotFound
from scalewitness.visits.models import Visit
from scalewitness.visits.queries import visit_of


def visit_seen(request: Request, id: UUID, now: datetime) -> tuple[Visit, bool]:
    """The visit, and whether the asker is on the host's side.

    Raises:
        NotFound: there is none, or it is neither side's.
    """
    keeper, found = keeper_of(request).pk, visit_of(id)
    if found is None:
        raise NotFound()
    host = is_steward(keeper, found.collection, now)
    if not host and found.guest_id != keeper:
        raise NotFound()
    return found, host
