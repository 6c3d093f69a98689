"""Putting several animals into one place at once."""

from collections.abc import Sequence

from django import forms
from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals import services
from scalewitness.animals.models import Animal
from scalewitness.animals.queries import title_of
from scalewitness.domain.errors import NotFound, VersionStale
from scalewitness.pages.animals.chosen import MOST, own_among
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.pages.parts.picking import ids_among
from scalewitness.people.models import Keeper

NAMED = 12
"""Animals named one by one before the others are counted (our judgement: a line or two)."""


class PlaceForm(forms.Form):
    place = forms.CharField(
        label="Rack or place",
        max_length=40,
        widget=forms.TextInput(attrs={"autofocus": True, "autocomplete": "off"}),
    )


@signed_in
def place(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    """All of them or none; what stood there before stays in each animal's history."""
    now = timezone.now()
    given = request.POST or request.GET
    animals = own_among(keeper, ids_among(given.getlist("animal"))[:MOST], now)
    if not animals:
        raise NotFound()
    form = PlaceForm(request.POST or None)
    if form.is_valid() and _put(animals, form, keeper):
        so_many = "1 animal is" if len(animals) == 1 else f"{len(animals)} animals are"
        messages.success(request, f"{so_many} in {form.cleaned_data['place']} now.")
        return redirect("animals")
    titles = [title_of(one) for one in animals[:NAMED]]
    context = {"form": form, "animals": animals, "titles": titles}
    context["others"] = len(animals) - len(titles)
    return page(request, "animals/place.html", context, status=422 if form.errors else 200)


def _put(animals: Sequence[Animal], form: PlaceForm, keeper: Keeper) -> bool:
    fields, now = {"rack": form.cleaned_data["place"]}, timezone.now()
    try:
        with transaction.atomic():
            for one in animals:
                services.edit(one, fields, version=one.version, by=keeper, now=now)
    except VersionStale:
        form.add_error(None, "Somebody edited one of them just now. Send it again.")
        return False
    return True
