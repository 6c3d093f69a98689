"""Pairings planned with one's animals."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.pairings import Pairings, pairings
from scalewitness.breeding.queries.pairings import pairings_seen


@operation("List planned pairings", gives={200: Pairings})
def list_pairings(request: Request) -> Response:
    """Of animals one holds or is a partner in, by season. A pairing with an animal that one is
    still to check blind is left out."""
    return Response(pairings(pairings_seen(keeper_of(request).pk, timezone.now())))
