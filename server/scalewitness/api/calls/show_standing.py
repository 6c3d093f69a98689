"""What the record, taken whole, says of an animal's sex, now or at an earlier position."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.parameters import Whole
from scalewitness.api.shapes.calls import StandingShown, standing
from scalewitness.calls.queries.visibility import animal_open, reader_of
from scalewitness.examiners.settled import settled_behind
from scalewitness.standings.queries.dossier import dossier

AT = Whole("at", "The log position to look back to; now when absent.")


@operation("Show an animal's standing", gives={200: StandingShown}, query=(AT,))
def show_standing(request: Request, id: UUID) -> Response:
    """With its reasons in plain words, what each call weighs, and every number that entered
    with its source and status."""
    at, keeper, now = AT.read(request), keeper_of(request).pk, timezone.now()
    known = dossier(animal_open(keeper, id, now), at)
    return Response(standing(known, settled_behind(known, reader_of(keeper, now))))
