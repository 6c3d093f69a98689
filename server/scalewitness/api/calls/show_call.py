"""One call."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.calls import CallShown, OwnCall, call, own_held, own_logged
from scalewitness.calls.queries.held import own_held_call
from scalewitness.calls.queries.made import call_of
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.domain.errors import NotFound
from scalewitness.standings.queries.dossier import dossier


@operation("Show a call", gives={200: CallShown | OwnCall})
def show_call(request: Request, id: UUID) -> Response:
    """For whoever may see the animal whole; and for whoever sent it, whatever became of it."""
    keeper, found = keeper_of(request).pk, call_of(id)
    if found is None:
        held = own_held_call(keeper, id)
        if held is None:
            raise NotFound()
        return Response(own_held(held))
    try:
        known = dossier(animal_open(keeper, found.animal_id, timezone.now()))
    except NotFound:
        if found.by != keeper:
            raise
        return Response(own_logged(found))
    shown = next(one for one in known.calls if one.call.pk == id)
    return Response(call(shown, known))
