"""One visit."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.visits import VisitShown, visit
from scalewitness.visits.queries import visit_seen


@operation("Show a visit", gives={200: VisitShown})
def show_visit(request: Request, id: UUID) -> Response:
    now = timezone.now()
    found, host = visit_seen(keeper_of(request).pk, id, now)
    return Response(visit(found, now, host=host))
