"""The sheet a guest works from."""

from datetime import timedelta
from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.visits import Sheet, sheet, visit
from scalewitness.calls.queries.made import calls_on_visit
from scalewitness.calls.queries.visibility import animals_ahead, visible_animals
from scalewitness.domain.errors import NotNow
from scalewitness.visits.queries import state_of, visit_seen

CONDITION_AHEAD = timedelta(days=7)
"""How long before a visit opens its guest is told of weights, meals and sheds (our judgement):
enough to prepare by, too short for their course to tell which animal is gravid."""


@operation("Show a visit's sheet", gives={200: Sheet}, refuses=(NotNow,))
def show_sheet(request: Request, id: UUID) -> Response:
    """By tag code. For the guest while the visit is open, and for the host at any time.

    A guest who has accepted is handed it ahead, to work from where there is no signal: what a
    blind guest may know, also where the visit is not blind; conditions within seven days of
    its opening, before that they are null. Of an animal that its keeper says is no longer there
    it tells by `ended`; such a one is not to be checked. One that is to be left alone for now is
    among `held_off` instead, while the reader is blind to it. `visit` tells when it opens.
    """
    keeper, now = keeper_of(request).pk, timezone.now()
    found, host = visit_seen(keeper, id, now)
    state = state_of(found, now)
    shown = visit(found, now, host=host)
    if state == "accepted" and not host:
        near = found.opens - now <= CONDITION_AHEAD
        coming = [(animal, "blind") for animal in animals_ahead(keeper, found.pk, now)]
        return Response(sheet(shown, coming, {}, conditions=near))
    if not host and state != "open":
        raise NotNow(f"The visit is {state}; its sheet is there from acceptance to its end.")
    seen = visible_animals(keeper, now).filter(pk__in=found.animals.values("pk"))
    own = {call.animal_id: call for call in calls_on_visit(found.pk, found.guest_id)}
    return Response(sheet(shown, [(animal, animal.sight) for animal in seen], own))
