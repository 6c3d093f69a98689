"""One sale as its seller sees it."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.sales.access import own_sale
from scalewitness.api.shapes.sales import SaleShown, sale


@operation("Show a sale", gives={200: SaleShown})
def show_sale(request: Request, id: UUID) -> Response:
    """With its steps, why it is held, and whether each letter arrived."""
    return Response(sale(own_sale(request, id)))
