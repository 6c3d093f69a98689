"""One call."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.calls import CallShown, call
from scalewitness.calls.queries.made import call_of
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.domain.errors import NotFound
from scalewitness.standings.queries.dossier import dossier


@operation("Show a call", gives={200: CallShown})
def show_call(request: Request, id: UUID) -> Response:
    """For whoever may see the animal whole."""
    found = call_of(id)
    if found is None:
        raise NotFound()
    known = dossier(animal_open(keeper_of(request).pk, found.animal_id, timezone.now()))
    shown = next(one for one in known.calls if one.call.pk == id)
    return Response(call(shown, known))
