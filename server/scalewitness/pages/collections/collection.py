"""Collections and the animals in them, counted the trade's way: males.females.unsexed."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django import forms
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals import services
from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import collection_of, for_steward, stewarded_collections
from scalewitness.calls.queries.visibility import visible_animals
from scalewitness.domain.consequences import sex_of
from scalewitness.domain.errors import IdReused, VersionStale
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.pages.parts.facts import new_id, retype
from scalewitness.pages.parts.picking import matching, sought
from scalewitness.people.models import Keeper
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.logged import label_of, labels_counted, latest_standings

PAGE = 50


@dataclass(frozen=True, slots=True)
class Counted:
    """A collection and its count; ``contested`` ones are among the unsexed."""

    collection: Collection
    count: str
    contested: int
    total: int


@dataclass(frozen=True, slots=True)
class AnimalRow:
    """An animal as a list shows it."""

    animal: Animal
    sight: str
    label: str
    codes: str


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


def rows(animals: Iterable[Animal]) -> list[AnimalRow]:
    """Animals with labels and codes; of a blind one only the codes a guest may read."""
    listed = list(animals)
    open_ones = [one.pk for one in listed if _sight(one) == "all"]
    standings = latest_standings(open_ones)
    return [_row(one, standings.get(one.pk)) for one in listed]


def _row(animal: Animal, standing: Standing | None) -> AnimalRow:
    blind = _sight(animal) == "blind"
    schemes = {"tag", "transponder"} if blind else {"tag", "transponder", "scale_photo"}
    codes = [one.code for one in animal.identifiers.all() if one.scheme in schemes]
    label = "" if blind else label_of(standing)
    return AnimalRow(animal, _sight(animal), label, ", ".join(codes))


def _sight(animal: Animal) -> str:
    return str(getattr(animal, "sight", "blind"))


def _there(
    request: HttpRequest, animals: QuerySet[Animal]
) -> tuple[QuerySet[Animal], dict[str, Any]]:
    """The animals that are there, with how many are not; those alone where they are asked for."""
    gone = animals.exclude(ended="")
    if request.GET.get("ended"):
        return gone, {"ended": True}
    return animals.filter(ended=""), {"ended": False, "gone": gone.count()}


@signed_in
def show_collection(request: HttpRequest, keeper: Keeper, collection_id: UUID) -> HttpResponse:
    collection, now = stewarded(keeper, collection_id), timezone.now()
    animals, ended = _there(request, visible_animals(keeper.pk, now).filter(collection=collection))
    wanted = sought(request)
    found = matching(animals, wanted).prefetch_related("identifiers").order_by("name", "pk")
    listed = Paginator(found, PAGE).get_page(request.GET.get("page"))
    context = {
        "collection": collection,
        "own": collection.keeper_id == keeper.pk,
        "counted": counted([collection])[0],
        "rows": rows(listed),
        "listed": listed,
        "wanted": wanted,
        **ended,
        "asked": urlencode({"q": wanted, "ended": "only"}) if ended["ended"] else "",
    }
    return page(request, "collections/collection.html", context)


@signed_in
def show_animals(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    """Every animal the keeper may see, by id: no order that follows sex or activity."""
    now = timezone.now()
    animals, ended = _there(request, visible_animals(keeper.pk, now))
    listed = Paginator(animals.prefetch_related("identifiers"), PAGE).get_page(
        request.GET.get("page")
    )
    context = {
        "rows": rows(listed),
        "listed": listed,
        "collections": stewarded_collections(keeper.pk, now),
        **ended,
        "asked": "ended=only" if ended["ended"] else "",
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
