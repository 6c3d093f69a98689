"""Disputes on animals one may see."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.disputes import Disputes, listed
from scalewitness.disputes.queries.disputes import disputes_seen


@operation("List disputes", gives={200: Disputes})
def list_disputes(request: Request) -> Response:
    """On animals one may see whole, and on those one sold; open ones first, then the newest."""
    return Response(Disputes(listed(disputes_seen(keeper_of(request).pk, timezone.now()))))
