"""Which animals of a collection to check in the time there is."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.queries import animal_ids
from scalewitness.api.collections.access import own_collection
from scalewitness.api.operations import operation
from scalewitness.api.parameters import Opaque, Whole, bad_parameter
from scalewitness.api.shapes.planning import VisitPlan, visit_plan
from scalewitness.calls.queries.planning import plan_visit as planned
from scalewitness.disputes.queries import at_stake

MINUTES = Whole("minutes", "How long the visit may take.", default=120, least=1, most=1440)
BY = Opaque(
    "by",
    "The one examiner who comes: a `key` of the answer's `examiners`; anyone when absent.",
)


@operation("Plan a visit", gives={200: VisitPlan}, query=(MINUTES, BY))
def plan_visit(request: Request, id: UUID) -> Response:
    """At most one check for each animal: first what takes most off the chance of a wrong
    decision for each minute. It tells what is on record, so it is not for a blind guest."""
    collection = own_collection(request, id)
    minutes = float(MINUTES.read(request) or MINUTES.most)
    now = timezone.now()
    stake, by = at_stake(animal_ids(collection), now), BY.read(request)
    try:
        found = planned(collection, stake, minutes, now, by)
    except KeyError:
        raise bad_parameter(BY.name, "It is the key of one of the examiners.") from None
    return Response(visit_plan(collection.pk, found))
