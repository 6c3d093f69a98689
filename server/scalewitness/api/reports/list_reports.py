"""What others reported in one's name."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.reports import Reports, reports
from scalewitness.calls.queries.reports import reported_of


@operation("List what was reported in your name", gives={200: Reports})
def list_reports(request: Request) -> Response:
    """Calls that name a practitioner who is asked at an address you proved; newest first. Of an
    animal that you are still to check blind there is nothing until your own call."""
    keeper = keeper_of(request).pk
    return Response(Reports(reports(reported_of(keeper, timezone.now()), keeper)))
