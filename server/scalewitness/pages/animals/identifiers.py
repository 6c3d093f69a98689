"""Codes that an animal bears: given, and withdrawn where they were given by mistake."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse

from scalewitness.pages.animals.animal import say_of, stewarded_animal
from scalewitness.pages.animals.forms import IdentifierForm, IdentifierWithdrawalForm
from scalewitness.pages.parts.access import signed_in
from scalewitness.people.models import Keeper


@signed_in
def add_identifier(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    animal = stewarded_animal(keeper, animal_id)
    return say_of(
        request, keeper, animal, IdentifierForm(request.POST or None), "Add an identifier"
    )


@signed_in
def withdraw_identifier(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    animal = stewarded_animal(keeper, animal_id)
    borne = animal.identifiers.order_by("position")
    form = IdentifierWithdrawalForm(request.POST or None, borne=borne)
    return say_of(request, keeper, animal, form, "Withdraw an identifier")
