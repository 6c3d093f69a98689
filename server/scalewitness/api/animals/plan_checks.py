"""What would help most to settle one animal's sex."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.queries import animal_of, for_steward
from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.planning import AnimalPlan, animal_plan
from scalewitness.disputes.queries import at_stake
from scalewitness.planning.plans import plan_animal


@operation("Plan an animal's next check", gives={200: AnimalPlan})
def plan_checks(request: Request, id: UUID) -> Response:
    """Every method by everyone who could come: worth making or not, and why. Today's
    condition decides what is ruled out for now."""
    keeper, now = keeper_of(request).pk, timezone.now()
    animal = for_steward(animal_of(id), lambda one: one.collection, keeper, now)
    return Response(animal_plan(animal.pk, plan_animal(animal, at_stake([animal.pk], now), now)))
