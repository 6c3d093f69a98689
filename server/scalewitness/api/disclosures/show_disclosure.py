"""One disclosure."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.disclosures import DisclosureShown, disclosure
from scalewitness.disclosures.queries import disclosure_seen


@operation("Show a disclosure", gives={200: DisclosureShown})
def show_disclosure(request: Request, id: UUID) -> Response:
    """For the seller's side and for the buyer, if they are a keeper."""
    found, seller = disclosure_seen(keeper_of(request).pk, id, timezone.now())
    return Response(disclosure(found, for_seller=seller))
