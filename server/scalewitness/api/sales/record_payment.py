"""The seller has been paid."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.sales.step import take_step
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare


@operation("Record the payment", takes=Bare, gives=ANSWERS, refuses=FACT_REFUSALS, keyed=True)
def record_payment(request: Request, id: UUID) -> Response:
    """Recorded, never taken. Refused before the buyer confirmed and while the sale is held.
    Text: `note`."""
    return take_step(request, "payment_recorded", id)
