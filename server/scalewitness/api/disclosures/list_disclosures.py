"""Disclosures owed by one's collections, and to oneself."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.disclosures import Disclosures, disclosure
from scalewitness.disclosures.queries import disclosures_in, disclosures_to
from scalewitness.sales.queries import sales_seen


@operation("List disclosures owed by me and to me", gives={200: Disclosures})
def list_disclosures(request: Request) -> Response:
    """As seller, with whether the letter arrived, and as buyer; newest first."""
    keeper = keeper_of(request).pk
    sold = disclosures_in(sales_seen(keeper, timezone.now()))
    known = {row.pk for row in sold}
    bought = [row for row in disclosures_to(keeper) if row.pk not in known]
    shown = [disclosure(row, for_seller=True) for row in sold]
    shown += [disclosure(row, for_seller=False) for row in bought]
    return Response(Disclosures(sorted(shown, key=lambda one: -one.position)))
