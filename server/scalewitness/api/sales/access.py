"""Which sales one may open."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request

from scalewitness.animals.queries import for_steward
from scalewitness.api.authentication import keeper_of
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import sale_of


def own_sale(request: Request, id: UUID) -> Sale:
    """A sale from a collection the asker keeps or is a partner in.

    Raises:
        NotFound: there is none, or it is someone else's.
    """
    keeper, now = keeper_of(request).pk, timezone.now()
    return for_steward(sale_of(id), lambda one: one.collection, keeper, now)
