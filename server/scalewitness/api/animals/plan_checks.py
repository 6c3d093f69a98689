"""What would help most to settle one animal's sex."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.queries import animal_of, for_steward
from scalewitness.api.authentication import keeper_of
from scalewitness.api.coming import COMING, prices_in, today_in
from scalewitness.api.operations import operation
from scalewitness.api.shapes.planning import AnimalPlan, animal_plan
from scalewitness.planning.available import examiners_for
from scalewitness.planning.plans import plan_animal
from scalewitness.seasons.queries.at_stake import stake_for


@operation("Plan an animal's next check", gives={200: AnimalPlan}, query=COMING)
def plan_checks(request: Request, id: UUID) -> Response:
    """Every method by everyone who comes: worth making or not, and why. Today's condition decides
    what is ruled out for now. `ahead` says what a second check after one of them would bring."""
    keeper, now = keeper_of(request).pk, timezone.now()
    animal = for_steward(animal_of(id), lambda one: one.collection, keeper, now)
    stake = stake_for(keeper, [animal.pk], now)
    who = examiners_for(animal.collection, [animal], stake, now).priced(prices_in(request))
    found = plan_animal(animal, who, today_in(request, who), stake, now)
    return Response(animal_plan(animal.pk, found, who))
