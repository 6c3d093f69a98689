"""Nothing is left to do."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.sales.step import take_step
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, Bare


@operation("Close a sale", takes=Bare, gives=ANSWERS, refuses=FACT_REFUSALS, keyed=True)
def close_sale(request: Request, id: UUID) -> Response:
    """After the handover."""
    return take_step(request, "sale_closed", id)
