"""Every call on an animal."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.calls import Calls, calls, late_checks
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.standings.queries.dossier import dossier


@operation("List an animal's calls", gives={200: Calls})
def list_calls(request: Request, id: UUID) -> Response:
    """In log order, withdrawn and set-aside ones included, each with what it weighs; and
    of late ones that do not count, how many there are."""
    animal = animal_open(keeper_of(request).pk, id, timezone.now())
    known = dossier(animal)
    return Response(Calls(calls(known), late_checks(known.late)))
