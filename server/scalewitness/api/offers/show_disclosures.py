"""What the buyer of a sale is owed to know."""

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.access import opened
from scalewitness.api.operations import operation
from scalewitness.api.shapes.disclosures import Disclosures, disclosure
from scalewitness.disclosures.queries import disclosures_to_buyer
from scalewitness.domain.errors import LinkGone


@operation(
    "Show the disclosures owed in a sale to its buyer",
    gives={200: Disclosures},
    refuses=(LinkGone,),
    anonymous=True,
)
def show_disclosures(request: Request, token: str) -> Response:
    """For links that came with a disclosure; newest first."""
    link = opened(token, "disclosure")
    rows = disclosures_to_buyer(link.sale.buyer_id)
    return Response(Disclosures([disclosure(row, for_seller=False) for row in rows]))
