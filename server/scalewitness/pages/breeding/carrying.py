"""What one animal carries, and the pedigree that it is worked out from."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from scalewitness.animals.queries import title_of
from scalewitness.breeding.queries.pedigrees import pedigree_for
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.pages.breeding.ancestors import ancestors_of
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.pages.plots.pedigree import pedigree
from scalewitness.people.models import Keeper


@signed_in
def show_carried(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    """For whoever sees it whole, from what they may see."""
    now = timezone.now()
    animal = animal_open(keeper.pk, animal_id, now)
    found = pedigree_for(keeper.pk, now, among=[animal.pk])
    context = {
        "animal": animal,
        "title": title_of(animal),
        "pedigree": pedigree(ancestors_of(found, animal.pk, {})),
    }
    return page(request, "breeding/carries.html", context)
