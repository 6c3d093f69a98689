"""The animals have changed hands."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.sales.step import take_step
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare


@operation("Record the handover", takes=Bare, gives=ANSWERS, refuses=FACT_REFUSALS, keyed=True)
def hand_over(request: Request, id: UUID) -> Response:
    """Refused while the sale is held."""
    return take_step(request, "handed_over", id)
