"""Which animals of a collection to check in the time there is."""

from uuid import UUID

from django.core.paginator import Paginator
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.collections.access import own_collection
from scalewitness.api.coming import COMING, prices_in, today_in
from scalewitness.api.operations import operation
from scalewitness.api.parameters import Whole
from scalewitness.api.shapes.planning import VisitPlan, Weighed, visit_plan
from scalewitness.disputes.queries.disputes import by_need
from scalewitness.planning.available import examiners_for
from scalewitness.planning.plans import WEIGHED
from scalewitness.planning.plans import plan_visit as planned
from scalewitness.seasons.queries.at_stake import stake_for

MINUTES = Whole("minutes", "How long the visit may take.", default=120, least=1, most=1440)
PAGE = Whole("page", "Which animals are weighed: the next with each page.", default=1, least=1)


@operation("Plan a visit", gives={200: VisitPlan}, query=(MINUTES, *COMING, PAGE))
def plan_visit(request: Request, id: UUID) -> Response:
    """At most one check for each animal, in the order of the racks, young of one clutch together:
    the choice that takes most off the chance of wrong decisions in the time there is. Of a large
    collection a part is weighed, which `weighed` tells: first animals with a sale, pairing or
    dispute hanging on them, then those whose sex is least certain. It tells what is on record, so
    it is not for a blind guest."""
    collection = own_collection(request, id)
    minutes = float(MINUTES.need(request))
    now, pages = timezone.now(), Paginator(by_need(collection), WEIGHED)
    page = pages.get_page(PAGE.read(request))
    animals = list(page)
    stake = stake_for(keeper_of(request).pk, [one.pk for one in animals], now)
    who = examiners_for(collection, animals, stake, now).priced(prices_in(request))
    found = planned(animals, who, today_in(request, who), stake, minutes, now)
    weighed = Weighed(len(animals), pages.count, page.number, pages.num_pages)
    return Response(visit_plan(collection.pk, found, who, weighed))
