"""What is said in the disputes over the buyer's purchase."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.access import opened
from scalewitness.api.operations import operation
from scalewitness.api.shapes.buyers_disputes import BuyersDisputes, buyers_disputes
from scalewitness.domain.errors import LinkGone


@operation(
    "Show the buyer's disputes",
    gives={200: BuyersDisputes},
    refuses=(LinkGone,),
    anonymous=True,
)
def show_buyers_disputes(request: Request, token: str) -> Response:
    """Those over this sale, and over later ones of an animal that the buyer still relies on; the
    newest first. What is stated for them, and the finding."""
    return Response(buyers_disputes(opened(token).sale, timezone.now()))
