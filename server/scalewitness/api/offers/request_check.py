"""The buyer wants someone independent to look first."""

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.step import BuyersStep, take_step
from scalewitness.api.operations import operation
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS
from scalewitness.domain.errors import LinkGone


@operation(
    "Ask for an independent check",
    takes=BuyersStep,
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, LinkGone),
    anonymous=True,
    keyed=True,
)
def request_check(request: Request, token: str) -> Response:
    """The seller is told. The offer stands as it is until they make another."""
    return take_step(request, "check_requested", token)
