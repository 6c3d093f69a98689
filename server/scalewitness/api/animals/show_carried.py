"""What an animal carries."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.breeding import CarriedShown, carried_shown
from scalewitness.breeding.queries.carrying import carried_by, stock_of
from scalewitness.breeding.queries.pedigrees import pedigree_for, with_identifiers
from scalewitness.calls.queries.visibility import animal_open


@operation("Show what an animal carries", gives={200: CarriedShown})
def show_carried(request: Request, id: UUID) -> Response:
    """The chance of every genotype, from what is stated of it and of its relatives as far as one
    may see them, with its pedigree. Somebody who sees more of them may read other chances."""
    keeper, now = keeper_of(request).pk, timezone.now()
    animal = animal_open(keeper, id, now)
    found = pedigree_for(keeper, now, among=[animal.pk])
    one = found.relatives[animal.pk]
    with_identifiers(found, [parent for parent in (one.sire, one.dam) if parent])
    stock = stock_of(found, animal.species)
    at = carried_by(stock, animal.pk, beside=())
    return Response(carried_shown(found, stock, animal.pk, at))
