"""The sales from one's collections."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.paging import CURSOR, LIMIT, PagePart
from scalewitness.api.shapes.sales import Sales, listed
from scalewitness.sales.queries import sales_seen


@operation("List my sales", gives={200: Sales}, query=(LIMIT, CURSOR))
def list_sales(request: Request) -> Response:
    """From collections one keeps or is a partner in, newest first. The
    `Link` header leads on."""
    part = PagePart(request, sales_seen(keeper_of(request).pk, timezone.now()))
    return Response(Sales([listed(row) for row in part.items], part.next), headers=part.headers)
