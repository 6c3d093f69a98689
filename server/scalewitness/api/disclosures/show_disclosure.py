"""One disclosure."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.disclosures.access import disclosure_seen
from scalewitness.api.operations import operation
from scalewitness.api.shapes.disclosures import DisclosureShown, disclosure


@operation("Show a disclosure", gives={200: DisclosureShown})
def show_disclosure(request: Request, id: UUID) -> Response:
    """For the seller's side and for the buyer, if they are a keeper."""
    found, seller = disclosure_seen(request, id)
    return Response(disclosure(found, for_seller=seller))
