"""Looking through animals: filters in words, an order, and a page at a time, all in the address."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, cast
from urllib.parse import urlencode
from uuid import UUID

from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict

from scalewitness.animals.models import Collection
from scalewitness.animals.queries import stewarded_collections
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.pages.animals.table import rows_of
from scalewitness.people.models import Keeper
from scalewitness.searching.animals import animals_wanted
from scalewitness.searching.order import AnimalsFound, BadPlace, page_of
from scalewitness.searching.wanted import BEYOND_THE_SHEET, Order, Wanted

PAGE = 50
"""Rows at a time (our judgement: two screens at the desk)."""
ANY = ("", "any")
ENDED = "only"

WORDS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "standing": (
        ANY, ("verified", "verified"), ("probable", "probable"), ("contested", "contested"),
        ("unsexed", "unsexed"),
    ),
    "sex": (ANY, ("female", "female"), ("male", "male")),
    "age": (
        ANY, ("under_1", "under a year"), ("1_to_3", "one to three years"),
        ("over_3", "over three years"), ("unknown", "not known"),
    ),
    "checked": (
        ("", "any time"), ("never", "never"), ("within_a_year", "within a year"),
        ("over_a_year", "not for a year"),
    ),
    "planned": (("", "anything"), ("for_sale", "a sale"), ("pairing", "a pairing")),
    "whose": (("", "mine and shown"), ("mine", "mine"), ("shown", "shown to me")),
}  # fmt: skip
ORDERS: tuple[tuple[Order, str], ...] = (
    ("name", "name"), ("species", "species"), ("standing", "standing"), ("age", "age"),
    ("weight", "weight"), ("checked", "last check"), ("place", "place"),
)  # fmt: skip


class FilterForm(forms.Form):
    """As the address has them; what is no choice is not asked for."""

    q = forms.CharField(label="Find", required=False, max_length=80)
    species = forms.ChoiceField(required=False)
    standing = forms.ChoiceField(choices=WORDS["standing"], required=False)
    sex = forms.ChoiceField(choices=WORDS["sex"], required=False)
    age = forms.ChoiceField(choices=WORDS["age"], required=False)
    checked = forms.ChoiceField(label="last check", choices=WORDS["checked"], required=False)
    planned = forms.ChoiceField(choices=WORDS["planned"], required=False)
    whose = forms.ChoiceField(choices=WORDS["whose"], required=False)
    collection = forms.TypedChoiceField(required=False, coerce=UUID)
    place = forms.CharField(required=False, max_length=40)
    trait = forms.CharField(required=False, max_length=60)
    parent = forms.UUIDField(required=False, widget=forms.HiddenInput)
    order = forms.ChoiceField(choices=ORDERS, required=False, widget=forms.HiddenInput)
    backwards = forms.BooleanField(required=False, widget=forms.HiddenInput)
    ended = forms.ChoiceField(choices=[(ENDED, "")], required=False, widget=forms.HiddenInput)

    def __init__(
        self,
        given: QueryDict,
        species: Iterable[str],
        collections: Sequence[Collection],
        *,
        within: bool,
        whole: bool,
    ) -> None:
        """``species``: those among what is looked through; ``collections``: the reader's own;
        ``within`` one collection. Not ``whole``: all that is seen is to be checked blind, and
        there is nothing to filter by but what stands on the sheet."""
        super().__init__(given)
        named = sorted((taxon(one).common, one) for one in species)
        choices = [ANY, *((key, common) for common, key in named)]
        cast(forms.ChoiceField, self.fields["species"]).choices = choices
        held = [ANY, *((str(one.pk), one.name) for one in collections)]
        cast(forms.ChoiceField, self.fields["collection"]).choices = held
        apart = {"whose", "collection"} if within else set[str]()
        apart |= {"collection"} if len(collections) < 2 else set()
        for name in {*apart, *(BEYOND_THE_SHEET if not whole else ())}:
            self.fields.pop(name, None)

    def wanted(self, collection: UUID | None) -> Wanted:
        self.is_valid()
        given = {name: value for name, value in self.cleaned_data.items() if value}
        given["text"] = given.pop("q", "").replace("\x00", "").strip()
        given.pop("ended", None)
        return Wanted(**({"collection": collection} | given))

    @property
    def is_narrowed(self) -> bool:
        """Whether anything but the order was asked."""
        apart = {"order", "backwards", "ended"}
        return any(value for name, value in self.cleaned_data.items() if name not in apart)


def found_in(
    request: HttpRequest, keeper: Keeper, now: datetime, collection: UUID | None = None
) -> dict[str, Any]:
    """The page of animals asked for, with all that its template needs."""
    everything = animals_wanted(keeper.pk, Wanted(collection=collection), now)
    gone = request.GET.get("ended") == ENDED
    species = everything.values_list("species", flat=True).distinct()
    whole = everything.filter(sight="all").exists()
    held = stewarded_collections(keeper.pk, now)
    within = collection is not None
    form = FilterForm(request.GET, set(species), held, within=within, whole=whole)
    wanted = form.wanted(collection)
    found = animals_wanted(keeper.pk, wanted, now)
    kept = found.exclude(ended="") if gone else found.filter(ended="")
    after = request.GET.get("after")
    page = _page(kept.prefetch_related("identifiers"), wanted, after)
    return {
        "filters": form,
        "shown": [form[name] for name in form.fields if not form[name].is_hidden],
        "rows": rows_of(page.animals, keeper, now),
        "count": kept.count(),
        "columns": _columns(request, wanted),
        "whole": whole,
        "next": _address(request, after=page.after) if page.after else "",
        "first": _address(request, after=None) if after else "",
        "kept": [field for field in form if field.is_hidden and field.value()],
        "ended": gone,
        "gone": 0 if gone else everything.exclude(ended="").count(),
        "narrowed": form.is_narrowed,
    }


def kept_short(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """The address that is kept while one types says what is asked, and not what is not."""
    if "HX-Request" in request.headers:
        response.headers["HX-Replace-Url"] = request.path + _address(request)
    return response


def _page(found: "QuerySet[Any]", wanted: Wanted, after: str | None) -> AnimalsFound:
    try:
        return page_of(found, wanted, PAGE, after)
    except BadPlace:
        return page_of(found, wanted, PAGE)


def _columns(request: HttpRequest, wanted: Wanted) -> list[dict[str, str]]:
    """Each with the address that puts the animals in its order, and the way it goes now."""
    found = []
    for name, words in ORDERS:
        here = name == wanted.order
        turned = "on" if here and not wanted.backwards else None
        going = ("descending" if wanted.backwards else "ascending") if here else ""
        address = _address(request, order=name, backwards=turned, after=None)
        found.append({"name": name, "words": words, "going": going, "address": address})
    return found


def _address(request: HttpRequest, **changed: str | None) -> str:
    """This page's, with some of what it asks changed; None: not asked."""
    asked = {name: value for name, value in request.GET.items() if value}
    asked |= {name: value for name, value in changed.items() if value}
    for name, value in changed.items():
        if value is None:
            asked.pop(name, None)
    return f"?{urlencode(asked)}"
