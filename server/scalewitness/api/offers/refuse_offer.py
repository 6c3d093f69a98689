"""The buyer declines."""

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.step import BuyersStep, take_step
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS
from scalewitness.domain.errors import LinkGone


@operation(
    "Decline an offer",
    takes=BuyersStep,
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, LinkGone),
    anonymous=True,
    keyed=True,
)
def refuse_offer(request: Request, token: str) -> Response:
    """The seller is told; no reason is owed."""
    return take_step(request, "offer_declined", token)
