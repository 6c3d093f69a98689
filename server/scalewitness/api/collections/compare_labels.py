"""Whether the labels of animals that travelled together were mixed up."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.collections.access import own_collection
from scalewitness.api.operations import operation
from scalewitness.api.parameters import Ids, When
from scalewitness.api.shapes.swaps import SwapsShown, swaps_shown
from scalewitness.standings.queries import swaps

ANIMALS = Ids(
    "animals",
    "The animals, by id, commas between.",
    least=swaps.FEWEST,
    most=swaps.MOST,
)
MOVED_AT = When(
    "moved_at",
    "When they moved. When absent: the last move between collections, or else just before "
    "the first call that contradicts an earlier one or read another animal's transponder.",
)


@operation(
    "Compare the labels of animals that travelled together",
    gives={200: SwapsShown},
    query=(ANIMALS, MOVED_AT),
)
def compare_labels(request: Request, id: UUID) -> Response:
    """Shares of what may have happened: all as labelled, each exchange, one missexed, a
    later check wrong. For those who keep the collection, about animals they may see whole."""
    own_collection(request, id)
    wanted, moved_at = ANIMALS.read(request), MOVED_AT.read(request)
    animals = swaps.travellers_seen(keeper_of(request).pk, wanted, timezone.now())
    return Response(swaps_shown(swaps.compare_labels(animals, moved_at)))
