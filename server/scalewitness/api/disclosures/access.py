"""Which disclosures one may open, and from which side."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request

from scalewitness.animals.queries import is_steward
from scalewitness.api.authentication import keeper_of
from scalewitness.disclosures.models import Disclosure
from scalewitness.disclosures.queries import disclosure_of
from scalewitness.domain.errors import NotFound


def disclosure_seen(request: Request, id: UUID) -> tuple[Disclosure, bool]:
    """The disclosure, and whether the asker is on the seller's side.

    Raises:
        NotFound: there is none, or it is neither side's.
    """
    keeper, found = keeper_of(request).pk, disclosure_of(id)
    if found is None:
        raise NotFound()
    seller = is_steward(keeper, found.sale.collection, timezone.now())
    if not seller and found.to.keeper_id != keeper:
        raise NotFound()
    return found, seller
