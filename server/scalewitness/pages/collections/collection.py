"""Collections and the animals in them, counted the trade's way: males.females.unsexed."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals import services
from scalewitness.animals.models import Collection
from scalewitness.animals.queries import collection_of, for_steward, stewarded_collections
from scalewitness.domain.consequences import sex_of
from scalewitness.domain.errors import IdReused, VersionStale
from scalewitness.pages.animals.finding import found_in
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.pages.parts.facts import new_id, retype
from scalewitness.people.models import Keeper
from scalewitness.standings.queries.logged import labels_counted


@dataclass(frozen=True, slots=True)
class Counted:
    """A collection and its count; ``contested`` ones are among the unsexed."""

    collection: Collection
    count: str
    contested: int
    total: int


class CollectionForm(forms.Form):
    id = forms.UUIDField(widget=forms.HiddenInput, initial=new_id)
    version = forms.IntegerField(widget=forms.HiddenInput, initial=1)
    name = forms.CharField(label="Name", max_length=80)


def counted(collections: Sequence[Collection]) -> list[Counted]:
    """Counts by what the standings name, probable and verified alike."""
    found = labels_counted(one.pk for one in collections)
    return [_counted(one, found.get(one.pk, Counter())) for one in collections]


def _counted(collection: Collection, labels: Counter[str]) -> Counted:
    sexes: Counter[str | None] = Counter()
    for label, number in labels.items():
        sexes[sex_of(label)] += number
    count = f"{sexes['male']}.{sexes['female']}.{sexes[None]}"
    return Counted(collection, count, labels["contested"], labels.total())


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
        **found_in(request, keeper, now, collection.pk),
    }
    return page(request, "collections/collection.html", context)


@signed_in
def show_animals(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    """Every animal the keeper may see."""
    now = timezone.now()
    context = {
        "collections": stewarded_collections(keeper.pk, now),
        **found_in(request, keeper, now),
    }
    return page(request, "collections/animals.html", context)


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
