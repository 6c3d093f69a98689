"""Collections and the animals in them, counted by what their records say."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.safestring import SafeString

from scalewitness.animals import services
from scalewitness.animals.models import Collection
from scalewitness.animals.queries import collection_of, for_steward, stewarded_collections
from scalewitness.calls.queries.counted import not_examined_since
from scalewitness.domain.consequences import sex_of
from scalewitness.domain.errors import IdReused, VersionStale
from scalewitness.pages.animals.finding import found_in, kept_short
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.pages.parts.facts import new_id, retype
from scalewitness.pages.plots.strip import strip
from scalewitness.people.models import Keeper
from scalewitness.searching.animals import YEAR
from scalewitness.seasons.queries.seasons import years_of
from scalewitness.standings.queries.logged import labels_counted


@dataclass(frozen=True, slots=True)
class Counted:
    """A collection and its animals by label; ``unchecked``: so many that nobody has examined for
    a year."""

    collection: Collection
    labels: Counter[str]
    unchecked: int

    @property
    def in_words(self) -> str:
        """``4 males, 5 females, 7 not settled (3 contested)``; probable ones are counted in."""
        sexes = Counter[str | None]()
        for label, number in self.labels.items():
            sexes[sex_of(label)] += number
        males, females = (_so_many(sexes[sex], sex) for sex in ("male", "female"))
        contested = self.labels["contested"]
        among = f" ({contested} contested)" if contested else ""
        return f"{males}, {females}, {sexes[None]} not settled{among}"

    @property
    def strip(self) -> SafeString:
        """The same as a drawing."""
        return strip(self.labels)


class CollectionForm(forms.Form):
    id = forms.UUIDField(widget=forms.HiddenInput, initial=new_id)
    version = forms.IntegerField(widget=forms.HiddenInput, initial=1)
    name = forms.CharField(label="Name", max_length=80)


def counted(collections: Sequence[Collection]) -> list[Counted]:
    """Of each, what its keepers are shown of it as a whole."""
    ids = [one.pk for one in collections]
    found, unchecked = labels_counted(ids), not_examined_since(ids, timezone.now() - YEAR)
    return [
        Counted(one, found.get(one.pk, Counter()), unchecked.get(one.pk, 0)) for one in collections
    ]


def _so_many(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def stewarded(keeper: Keeper, collection_id: UUID) -> Collection:
    """A collection the keeper holds or is a partner in.

    Raises:
        NotFound: not theirs, or there is none.
    """
    return for_steward(collection_of(collection_id), lambda one: one, keeper.pk, timezone.now())


@signed_in
def show_collection(request: HttpRequest, keeper: Keeper, collection_id: UUID) -> HttpResponse:
    collection, now = stewarded(keeper, collection_id), timezone.now()
    context = {
        "collection": collection,
        "own": collection.keeper_id == keeper.pk,
        "counted": counted([collection])[0],
        "seasons": sorted({now.year + 1, *years_of(collection.pk, now.year, keeper.pk, now)}),
        **found_in(request, keeper, now, collection.pk),
    }
    return kept_short(request, page(request, "collections/collection.html", context))


@signed_in
def show_animals(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    """Every animal the keeper may see."""
    now = timezone.now()
    context = {
        "collections": stewarded_collections(keeper.pk, now),
        **found_in(request, keeper, now),
    }
    return kept_short(request, page(request, "collections/animals.html", context))


@signed_in
def new_collection(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    form = CollectionForm(request.POST or None)
    if form.is_valid():
        given = form.cleaned_data
        try:
            services.create_collection(keeper, given["id"], given["name"], timezone.now())
        except IdReused as refused:
            form.add_error(None, refused.detail)
        else:
            return redirect("collection", given["id"])
    status = 422 if form.errors else 200
    return page(request, "collections/new.html", {"form": form}, status=status)


@signed_in
def rename_collection(request: HttpRequest, keeper: Keeper, collection_id: UUID) -> HttpResponse:
    collection = stewarded(keeper, collection_id)
    initial = {"name": collection.name, "version": collection.version}
    form = CollectionForm(request.POST or None, initial=initial)
    status = 200
    if form.is_valid():
        fields, version = {"name": form.cleaned_data["name"]}, form.cleaned_data["version"]
        try:
            services.edit(collection, fields, version=version, by=keeper, now=timezone.now())
        except VersionStale:
            form.add_error("name", f"Someone renamed it meanwhile, to “{collection.name}”.")
            retype(form, "version", str(collection.version))
            status = 412
        else:
            return redirect("collection", collection.pk)
    status = 422 if form.errors and status == 200 else status
    context = {"form": form, "collection": collection}
    return page(request, "collections/rename.html", context, status=status)
