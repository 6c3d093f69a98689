"""The seller takes an offer back."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.sales.step import take_step
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare


@operation("Withdraw an offer", takes=Bare, gives=ANSWERS, refuses=FACT_REFUSALS, keyed=True)
def withdraw_offer(request: Request, id: UUID) -> Response:
    """The buyer's link stops working at once. Text: `note`."""
    return take_step(request, "offer_withdrawn", id)
