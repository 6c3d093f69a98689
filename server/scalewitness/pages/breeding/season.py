"""A collection's season: who is paired with whom, what that should bring, and what to do."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

import msgspec
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals.models import Collection
from scalewitness.domain.errors import NotFound, NotNow, VersionStale
from scalewitness.domain.season.stated import YEARS, WantStated
from scalewitness.intake.season_changes import change_plan
from scalewitness.pages.breeding.season_forms import (
    WANTS,
    AcceptForm,
    LimitsForm,
    PlanForm,
    WantForm,
    initial_limits,
    initial_want,
    trait_choices,
)
from scalewitness.pages.breeding.season_words import pair_in_words, season_in_words, titles
from scalewitness.pages.collections.collection import stewarded
from scalewitness.pages.parts.access import actor_of, page, post_or_go, say_accepted, signed_in
from scalewitness.pages.parts.facts import retype
from scalewitness.pages.parts.stating import say
from scalewitness.people.models import Keeper
from scalewitness.seasons.queries.shown import SeasonShown, season_shown
from scalewitness.seasons.services.asking import ask_for_best
from scalewitness.seasons.services.settings import edit_season


@signed_in
def show_season(
    request: HttpRequest, keeper: Keeper, collection_id: UUID, year: int
) -> HttpResponse:
    """With a pairing planned by hand, where one is sent."""
    collection = _stewarded(keeper, collection_id, year)
    season = season_shown(collection, year, keeper.pk, timezone.now())
    form = PlanForm(request.POST or None, animals=season.animals, year=year)
    if form.is_valid():
        outcome = form.send(form.cleaned_data["pairing"], actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome, "The pairing is on record at")
            return redirect("season", collection.pk, year)
    return _season_page(request, season, form)


def _stewarded(keeper: Keeper, collection: UUID, year: int) -> Collection:
    if year not in YEARS:
        raise NotFound()
    return stewarded(keeper, collection)


def _season_page(
    request: HttpRequest, season: SeasonShown, form: PlanForm, refused: AcceptForm | None = None
) -> HttpResponse:
    context = season_in_words(season) | {"season": season, "form": form, "refused": refused}
    status = (refused or form).status
    return page(request, "breeding/season.html", context, status=status)


@post_or_go("pairings", of_it=False)
@signed_in
def accept_change(
    request: HttpRequest, keeper: Keeper, collection_id: UUID, year: int
) -> HttpResponse:
    """All of a proposal or nothing, and only while the plan is the one that was read."""
    collection = _stewarded(keeper, collection_id, year)
    form = AcceptForm(request.POST)
    if form.is_valid() and _accept(form, collection, year, keeper):
        messages.success(request, "The plan is changed.")
        return redirect("season", collection.pk, year)
    season = season_shown(collection, year, keeper.pk, timezone.now())
    return _season_page(request, season, PlanForm(animals=season.animals, year=year), form)


def _accept(form: AcceptForm, collection: Collection, year: int, keeper: Keeper) -> bool:
    try:
        items = form.items(year)
        read = {one for (one,) in form.cleaned_data["shown"]}
    except (TypeError, ValueError):
        form.add_error(None, "This is not what the page sent.")
        return False
    if not items:
        form.add_error(None, "There is nothing to change.")
        return False
    try:
        outcomes = change_plan(
            items, read, (collection.pk, year), actor_of(keeper), timezone.now(), say
        )
    except NotNow as refused:
        form.refuse(refused.as_problem())
        return False
    for problem in [one.problem for one in outcomes if one.problem][:1]:
        form.refuse(problem)
        form.keep_to_sign(items, keeper.pk)
    return form.problem is None


@post_or_go("pairings", of_it=False)
@signed_in
def ask_best(request: HttpRequest, keeper: Keeper, collection_id: UUID, year: int) -> HttpResponse:
    collection = _stewarded(keeper, collection_id, year)
    ask_for_best(collection, year, keeper.pk, timezone.now())
    messages.success(request, "The best plan is being worked out: look again in a minute.")
    return redirect("season", collection.pk, year)


@signed_in
def edit_wants(
    request: HttpRequest, keeper: Keeper, collection_id: UUID, year: int
) -> HttpResponse:
    """What is wanted of the season, and what is possible."""
    collection = _stewarded(keeper, collection_id, year)
    season = season_shown(collection, year, keeper.pk, timezone.now())
    limits = LimitsForm(
        request.POST or None, initial=initial_limits(season.settings), pairings=_pairings(season)
    )
    wants = _want_forms(request, season)
    status = 200
    if limits.is_valid() and all(one.is_valid() for one in wants):
        try:
            edit_season(
                collection,
                year,
                _fields(limits, wants, season.settings.wants),
                version=limits.cleaned_data["version"],
                by=keeper,
                now=timezone.now(),
            )
            return redirect("season", collection.pk, year)
        except VersionStale as stale:
            limits.add_error(None, "Somebody edited it meanwhile. Look at theirs, and send again.")
            retype(limits, "version", str(stale.more["version"]))
            status = 412
    elif request.POST:
        status = 422
    wrong = next((one for one in wants if one.errors), None)
    context = {"season": season, "form": limits, "wants": wants, "wrong": wrong}
    return page(request, "breeding/wants.html", context, status=status)


def _want_forms(request: HttpRequest, season: SeasonShown) -> list[WantForm]:
    stated = season.settings.wants
    animals = season.animals.values()
    traits = trait_choices(one.species for one in animals)
    line = sorted(titles(season).items(), key=lambda one: one[1].casefold())
    return [
        WantForm(
            request.POST or None,
            prefix=f"w{n}",
            initial=initial_want(stated[n]) if n < len(stated) else {},
            traits=traits,
            line=line,
        )
        for n in range(max(WANTS, len(stated)))
    ]


def _pairings(season: SeasonShown) -> list[tuple[str, str]]:
    named = titles(season)
    return [
        (str(pairing), pair_in_words(chosen, named)) for chosen, pairing in season.planned.items()
    ]


def _fields(
    limits: LimitsForm, wants: list[WantForm], before: Sequence[WantStated]
) -> dict[str, Any]:
    """A want that was left as it is stays so, also one that the row cannot show whole."""
    stated = [
        one
        for n, form in enumerate(wants)
        if (one := before[n] if n < len(before) and not form.has_changed() else form.want())
    ]
    return {
        "wants": msgspec.to_builtins(stated),
        "limits": msgspec.to_builtins(limits.limits()),
        "kept": limits.cleaned_data.get("kept", []),
    }
