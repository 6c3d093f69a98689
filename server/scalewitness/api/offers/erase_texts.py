"""A buyer erases what they wrote about a sale."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.access import opened
from scalewitness.api.operations import operation
from scalewitness.domain.errors import LinkGone
from scalewitness.intake.erasure import erase_texts_by


@operation(
    "Erase what I wrote about this sale",
    gives={204: None},
    refuses=(LinkGone,),
    anonymous=True,
)
def erase_buyers_texts(request: Request, token: str) -> Response:
    """The steps stay on record with the fingerprints of their texts; the texts are gone for
    good. Doing it twice changes nothing."""
    link = opened(token, "offer")
    erase_texts_by(link.sale.buyer_id, timezone.now(), "author", about=link.sale_id)
    return Response(status=204)
