"""One dispute with its evidence."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.queries import is_steward
from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.buyers_disputes import BuyersDispute, buyers_dispute
from scalewitness.api.shapes.disputes import DisputeShown, KnownOfAnimal, dispute
from scalewitness.calls.queries.visibility import reader_of
from scalewitness.disputes.queries.disputes import bought_in, dispute_for
from scalewitness.domain.errors import NotFound
from scalewitness.examiners.settled import settled_behind
from scalewitness.ledger.queries.entries import entry_at
from scalewitness.standings.queries.dossier import dossier


@operation("Show a dispute", gives={200: DisputeShown | BuyersDispute})
def show_dispute(request: Request, id: UUID) -> Response:
    """For whoever may see the animal whole: the evidence in time order with who knew what,
    what each call weighs, and the finding. For whoever sold it and may not see it any more:
    what the parties state and the finding, without the animal's standing and evidence.
    For whoever bought it: what their link shows."""
    keeper, now = keeper_of(request).pk, timezone.now()
    try:
        found, seat = dispute_for(keeper, id, now)
    except NotFound:
        return Response(buyers_dispute(*bought_in(keeper, id, now), now))
    entry = entry_at(found.position)
    known = dossier(found.animal) if seat == "whole" else None
    shown = dispute(
        found,
        KnownOfAnimal(known, settled_behind(known, reader_of(keeper, now))) if known else None,
        reader=(keeper, now),
        entry=entry.fact if entry else None,
        letters_too=is_steward(keeper, found.animal.collection, now),
    )
    return Response(shown)
