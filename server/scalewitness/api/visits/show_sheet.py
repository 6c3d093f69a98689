"""The sheet a guest works from."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.visits import Sheet, sheet, visit
from scalewitness.api.visits.access import visit_seen
from scalewitness.calls.queries.standings import calls_on_visit
from scalewitness.calls.queries.visibility import visible_animals
from scalewitness.domain.errors import NotNow
from scalewitness.visits.queries import state_of


@operation("Show a visit's sheet", gives={200: Sheet}, refuses=(NotNow,))
def show_sheet(request: Request, id: UUID) -> Response:
    """By tag code. For the guest while the visit is open, and for the host at any time."""
    now = timezone.now()
    found, host = visit_seen(request, id, now)
    state = state_of(found, now)
    if not host and state != "open":
        raise NotNow(f"The visit is {state}; its sheet is there while it is open.")
    seen = visible_animals(keeper_of(request).pk, now).filter(pk__in=found.animals.values("pk"))
    own = {call.animal_id: call for call in calls_on_visit(found.pk, found.guest_id)}
    shown = visit(found, now, host=host)
    return Response(sheet(shown, [(animal, animal.sight) for animal in seen], own))
