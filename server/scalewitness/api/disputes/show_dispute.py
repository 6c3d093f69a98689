"""One dispute with its evidence."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.queries import is_steward
from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.disputes import DisputeShown, dispute
from scalewitness.calls.queries.dossier import dossier
from scalewitness.calls.queries.settled import settled_behind
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.disputes.queries import dispute_of
from scalewitness.domain.errors import NotFound
from scalewitness.ledger.queries.entries import entry_at


@operation("Show a dispute", gives={200: DisputeShown})
def show_dispute(request: Request, id: UUID) -> Response:
    """For whoever may see the animal whole: the evidence in time order with who knew what,
    what each call weighs, and the finding."""
    keeper, now, found = keeper_of(request).pk, timezone.now(), dispute_of(id)
    if found is None:
        raise NotFound()
    animal, entry = animal_open(keeper, found.animal_id, now), entry_at(found.position)
    known = dossier(animal)
    shown = dispute(
        found,
        known,
        settled_behind(known, keeper, now),
        entry=entry.fact if entry else None,
        letters_too=is_steward(keeper, animal.collection, now),
    )
    return Response(shown)
