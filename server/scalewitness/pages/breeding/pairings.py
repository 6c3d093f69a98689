"""Pairings planned for a season: the list, planning one and dropping it."""

from collections.abc import Collection, Iterable
from functools import partial
from itertools import groupby
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from scalewitness.animals.models import Collection as AnimalCollection
from scalewitness.animals.queries import title_of
from scalewitness.breeding.queries.pairings import pairings_seen
from scalewitness.calls.queries.visibility import reader_of
from scalewitness.domain.consequences import sex_of
from scalewitness.pages.animals.animal import stewarded_animal
from scalewitness.pages.animals.parents import mates_offered
from scalewitness.pages.breeding.paired import ROLES, ShownPairing, in_words
from scalewitness.pages.breeding.pairing_form import PairingForm
from scalewitness.pages.parts.access import actor_of, page, post_or_go, say_accepted, signed_in
from scalewitness.pages.parts.facts import StepForm
from scalewitness.pages.parts.listing import listed
from scalewitness.pages.parts.picking import picked
from scalewitness.people.models import Keeper
from scalewitness.standings.queries.logged import UNSEXED, labels_of


@signed_in
def show_pairings(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    return _pairings_page(request, keeper)


def _pairings_page(
    request: HttpRequest, keeper: Keeper, refused: StepForm | None = None
) -> HttpResponse:
    now = timezone.now()
    found = listed(request, pairings_seen(keeper.pk, now))
    shown = in_words(found)
    held = reader_of(keeper.pk, now).holds
    seasons = [
        (year, rows, _rooms(rows, held))
        for year, group in groupby(shown, key=lambda one: one.season)
        for rows in [list(group)]
    ]
    status = refused.status if refused else 200
    context = {"seasons": seasons, "refused": refused, "listed": found}
    return page(request, "breeding/pairings.html", context, status=status)


def _rooms(rows: Iterable[ShownPairing], held: Collection[UUID]) -> list[AnimalCollection]:
    """Collections with an animal of these pairings that the reader keeps or is a partner in."""
    rooms = {half.animal.collection for one in rows for half in one.halves if half.animal}
    return sorted((one for one in rooms if one.pk in held), key=lambda one: (one.name, one.pk))


@signed_in
def plan_pairing(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    """With one animal the keeper holds or is a partner in, and another that they see whole."""
    animal = stewarded_animal(keeper, animal_id)
    sex = sex_of(labels_of([animal.pk]).get(animal.pk, UNSEXED))
    initial = {"season": timezone.now().year + 1, "role": ROLES[sex] if sex else None}
    offered = partial(mates_offered, animal=animal, keeper=keeper)
    form = picked(request, PairingForm, {"mate": offered}, initial=initial, animal=animal)
    if form.is_valid():
        outcome = form.send(form.cleaned_data["pairing"], actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome, "The pairing is on record at")
            return redirect("pairings")
    context = {"title": title_of(animal), "back": reverse("animal", args=[animal.pk])}
    return page(request, "breeding/plan.html", context, form)


@post_or_go("pairings", of_it=False)
@signed_in
def drop_pairing(request: HttpRequest, keeper: Keeper, pairing_id: UUID) -> HttpResponse:
    form = StepForm("pairing_dropped", request.POST)
    return _say_of_pairing(request, keeper, pairing_id, form, "The pairing is dropped at")


@post_or_go("pairings", of_it=False)
@signed_in
def agree_to_pairing(request: HttpRequest, keeper: Keeper, pairing_id: UUID) -> HttpResponse:
    form = StepForm("pairing_agreed", request.POST)
    return _say_of_pairing(request, keeper, pairing_id, form, "Your agreement is on record at")


def _say_of_pairing(
    request: HttpRequest, keeper: Keeper, pairing: UUID, form: StepForm, words: str
) -> HttpResponse:
    if form.is_valid():
        outcome = form.send(pairing, actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome, words)
            return redirect("pairings")
    return _pairings_page(request, keeper, form)
