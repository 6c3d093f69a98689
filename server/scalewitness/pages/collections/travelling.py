"""Animals that travelled together: were their labels mixed up?"""

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import moved_with, title_of
from scalewitness.calls.queries.visibility import visible_animals
from scalewitness.domain.sexing.swaps import Explanation, in_words
from scalewitness.pages.collections.collection import stewarded
from scalewitness.pages.collections.travelling_form import TravellersForm
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.pages.parts.picking import AnimalsToPick, ids_among, is_search, offer
from scalewitness.people.models import Keeper
from scalewitness.standings.queries.swaps import MOST, Compared, compare_labels, travellers_seen
from scalewitness.visits.queries import checked_with

NEAREST = 5
"""Animals compared before anybody asks; the page of the comparison takes more."""
LISTED = 10
"""Explanations shown one by one."""

BECAUSE = {
    "said": "as you said.",
    "last_move": "their last move between collections.",
    "first_contradiction": (
        "just before the first call that contradicts an earlier one or read another animal’s "
        "transponder. Chosen that way it leans a little towards a mix-up; give the day they "
        "moved if you know it."
    ),
}


@signed_in
def compare(request: HttpRequest, keeper: Keeper, collection_id: UUID) -> HttpResponse:
    """The form, and under it the comparison once two or more were chosen."""
    collection = stewarded(keeper, collection_id)
    asked = request.GET.getlist("animals")
    bound = not is_search(request) and (len(asked) > 1 or "moved_at" in request.GET)
    initial = {"animals": asked, "moved_at": request.GET.get("moved_at")}
    form = TravellersForm(request.GET if bound else None, initial=initial)
    there = _comparable(keeper, collection, asked)
    offer(request, form, {"animals": AnimalsToPick(there, keeper.pk, timezone.now())})
    enough = form.searched or len(list(form["animals"])) > 1
    context: dict[str, Any] = {"collection": collection, "form": form, "enough": enough}
    if bound and form.is_valid():
        context |= _compared(keeper, form)
    status = 422 if form.errors else 200
    return page(request, "collections/swaps.html", context, status=status)


def compared_with_companions(animal: Animal, keeper: Keeper) -> dict[str, Any] | None:
    """The comparison with those of its species and collection that moved together with it or
    were on the same visit's sheet; None where there are none."""
    moved, checked = moved_with(animal.pk), checked_with(animal.pk)
    seen = visible_animals(keeper.pk, timezone.now()).filter(
        pk__in=moved | checked, sight="all", collection=animal.collection, species=animal.species
    )
    nearest = sorted(seen, key=lambda one: (one.pk not in moved, one.pk))[:NEAREST]
    if not nearest:
        return None
    compared = compare_labels([animal, *nearest])
    return {
        "answer": in_words(compared.found, {str(o.pk): title_of(o) for o in compared.animals}),
        "because": BECAUSE.get(compared.because),
        "titles": [title_of(one) for one in nearest],
        "asked": urlencode({"animals": [animal.pk, *(one.pk for one in nearest)]}, doseq=True),
    }


def _comparable(keeper: Keeper, collection: Collection, asked: Sequence[str]) -> QuerySet[Animal]:
    """The collection's animals; only those of its species when one is asked about."""
    seen = visible_animals(keeper.pk, timezone.now()).filter(collection=collection, sight="all")
    named = list(seen.filter(pk__in=ids_among(asked)).values_list("species", flat=True)[:MOST])
    return seen.filter(species=named[0]) if len(set(named)) == 1 else seen


def _compared(keeper: Keeper, form: TravellersForm) -> dict[str, Any]:
    chosen = [UUID(one) for one in form.cleaned_data["animals"]]
    animals = travellers_seen(keeper.pk, chosen, timezone.now())
    compared = compare_labels(animals, form.moment())
    titles = {str(one.pk): title_of(one) for one in animals}
    found = compared.found.explanations
    return {
        "compared": compared,
        "because": BECAUSE.get(compared.because),
        "answer": in_words(compared.found, titles),
        "rows": [_row(one, titles) for one in found[:LISTED]],
        "others": _share(sum(one.share for one in found[LISTED:])) if found[LISTED:] else None,
        "discarded": _discarded(compared),
        "own": [(titles[label], _share(of)) for label, of in compared.found.own],
    }


def _row(one: Explanation, titles: Mapping[str, str]) -> dict[str, str]:
    return {"share": _share(one.share), "what": one.text, "who": _who(one, titles)}


def _who(one: Explanation, titles: Mapping[str, str]) -> str:
    if not one.really:
        return ", ".join(titles[label] for label in one.labels)
    pairs = zip(one.labels, one.really, strict=True)
    return "; ".join(f"{titles[label]} is really {titles[own]}" for label, own in pairs)


def _discarded(compared: Compared) -> str | None:
    found = compared.found
    if found.discarded_prior <= 0:
        return None
    return ("at most " if found.bounded else "") + _share(found.discarded)


def _share(share: float) -> str:
    """In hundredths, never quite none and never quite all."""
    per = 100 * share
    if per < 0.1:
        return "less than 0.1 in 100"
    return "more than 99.9 in 100" if per > 99.9 else f"{per:.1f} in 100"
