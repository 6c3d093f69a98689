"""A whole clutch registered at once: what they share, then a grid with a row for each."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals import services
from scalewitness.animals.models import Animal, Collection, Identifier
from scalewitness.animals.queries import stewarded_ids, title_of
from scalewitness.breeding.queries.pairings import pairings_seen
from scalewitness.domain.cautions import of_hatchlings
from scalewitness.domain.methods import METHODS
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.pages.animals.animal import seen_whole
from scalewitness.pages.animals.parents import possible_parents
from scalewitness.pages.breeding.new_clutch_forms import (
    IDS,
    ClutchForm,
    CommonFacts,
    Grid,
    Item,
    SittingForm,
    YoungForm,
    YoungForms,
    empty_rows,
)
from scalewitness.pages.collections.collection import stewarded
from scalewitness.pages.parts.access import actor_of, page, signed_in
from scalewitness.pages.parts.before_a_check import before_a_check
from scalewitness.pages.parts.picking import choices_of, ids_among, picked
from scalewitness.pages.parts.stating import say
from scalewitness.people.models import Keeper

SHOWN = 3
"""Codes named one by one before the others are counted."""
SETTLED = ("number", "pattern", "first", "shared")
"""What the grid was made by; from there on each row has its own."""
STORED_BEFORE = (
    "This clutch is registered already. What you changed since was not stored: put it right on the "
    "pages of the animals."
)
Problem = Mapping[str, Any]


@signed_in
def register_clutch(request: HttpRequest, keeper: Keeper, collection_id: UUID) -> HttpResponse:
    """Nothing is stored before the grid is sent to be registered."""
    collection = stewarded(keeper, collection_id)
    form = _clutch_form(request, keeper)
    if request.POST.get("step") in {"check", "register"}:
        return _grid_sent(request, keeper, collection, form)
    if form.is_valid() and not _codes_taken(keeper, form):
        shared = form.cleaned_data["shared"]
        rows = Grid(
            initial=empty_rows(form.codes(), shared), prefix="y", form_kwargs={"shared": shared}
        )
        rows.forms[0].fields["grams"].widget.attrs["autofocus"] = True
        return _grid_page(request, collection, form, rows, SittingForm())
    return page(request, "breeding/new_clutch.html", {"collection": collection}, form)


def _clutch_form(request: HttpRequest, keeper: Keeper) -> ClutchForm:
    animals = seen_whole(keeper)
    pairs = {
        str(one.pairing.pk): (one.pairing.season, one.sire, one.dam)
        for one in pairings_seen(keeper.pk, timezone.now())
        if one.sire and one.dam and abs(one.pairing.season - timezone.now().year) <= 1
    }
    words = {
        pk: f"{season}: {title_of(dam)} with {title_of(sire)}"
        for pk, (season, sire, dam) in pairs.items()
    }
    return picked(
        request,
        ClutchForm,
        {"pairing": choices_of(words), **possible_parents(keeper)},
        initial={name: request.GET.get(name) for name in ("hatched", "number")},
        animals=animals,
        pairings={pk: (sire, dam) for pk, (_, sire, dam) in pairs.items()},
    )


def _codes_taken(keeper: Keeper, form: ClutchForm) -> bool:
    """Whether any of the codes is borne already; the form then names them."""
    codes = form.codes()
    taken = _borne(keeper, codes)
    if taken:
        listed = [one for one in codes if one in taken]
        beyond = form.cleaned_data["first"] + codes.index(listed[-1]) + 1
        form.add_error(
            "first",
            f"{_listed(listed)} {'is' if len(listed) == 1 else 'are'} in use for other animals "
            f"of yours. Number these from {beyond}, or change the pattern.",
        )
    return bool(taken)


def _listed(codes: Sequence[str]) -> str:
    if len(codes) > SHOWN:
        return f"{', '.join(codes[:SHOWN])} and {len(codes) - SHOWN} more"
    return ", ".join(codes)


def _borne(keeper: Keeper, codes: Iterable[str], but: Iterable[object] = ()) -> frozenset[str]:
    """Those of the codes that animals in the keeper's collections bear, ``but`` for some."""
    held = stewarded_ids(keeper.pk, timezone.now())
    marks = Identifier.objects.filter(code__in=list(codes), animal__collection__in=held)
    rows = marks.exclude(animal__in=ids_among(but)).order_by().values_list("code", flat=True)
    return frozenset(rows)


def _grid_sent(
    request: HttpRequest, keeper: Keeper, collection: Collection, form: ClutchForm
) -> HttpResponse:
    rows = Grid(request.POST, prefix="y", form_kwargs=_every_row(form))
    given = [(row["code"].value() or "", row["ids"].value() or "") for row in rows]
    own = [one for _, ids in given for one in ids.split()[:1]]
    rows.taken = _borne(keeper, (code.strip() for code, _ in given if "\x00" not in code), own)
    sitting = SittingForm(request.POST, checks=[row["check"].value() or "" for row in rows])
    whole = [form.is_valid(), rows.is_valid(), sitting.is_valid()]
    if all(whole) and not rows.kept:
        form.add_error(None, "Every row is empty.")
    elif all(whole) and request.POST["step"] == "register":
        common = CommonFacts(
            form.moment(), {"collection": str(collection.pk), **form.body()}, sitting.cleaned_data
        )
        if _register(keeper, common, form, rows.kept):
            return _registered(request, collection, form, rows.kept)
    return _grid_page(request, collection, form, rows, sitting)


def _every_row(form: ClutchForm) -> dict[str, object]:
    """No row may be empty unasked, whatever number of them the form says it began with."""
    return {"shared": form.data.get("shared", "").strip(), "empty_permitted": False}


def _register(
    keeper: Keeper, common: CommonFacts, form: ClutchForm, young: Sequence[YoungForm]
) -> bool:
    """Everything about all of them, or nothing; each once, also when it is sent again."""
    facts = [(row, item) for row in young for item in row.items(common)]
    facts.sort(key=lambda one: IDS.index(one[1]["kind"]))  # of many at once: kind by kind
    with transaction.atomic():
        outcomes = say([item for _, item in facts], actor_of(keeper), timezone.now())
        refused = False
        for (row, item), outcome in zip(facts, outcomes, strict=True):
            if outcome.problem is not None:
                _refuse(form, row, item, outcome.problem)
                refused = True
        if not refused and outcomes[0].status == "accepted":  # else it was stored before
            _name(young, keeper)
        transaction.set_rollback(refused)
    form.keep_to_sign([item for _, item in facts], keeper.pk)
    return not refused


def _name(young: Sequence[YoungForm], keeper: Keeper) -> None:
    named = {row.animal: row.cleaned_data["name"] for row in young if row.cleaned_data["name"]}
    for one in Animal.objects.filter(pk__in=named):
        fields = {"name": named[one.pk]}
        services.edit(one, fields, version=one.version, by=keeper, now=timezone.now())


def _refuse(form: ClutchForm, row: YoungForm, item: Item, problem: Problem) -> None:
    """Beside what it is about: the clutch, once, or the row, of which the first is said."""
    if problem["code"] == "id_reused":
        problem = {**problem, "detail": STORED_BEFORE, "pointer": "", "errors": ()}
    elif item["kind"] != "animal_registered" or "/traits/" in str(problem):
        if not (row.errors or form.errors):
            row.refuse(problem)
        return
    if form.problem is None:
        form.refuse(problem)


def _registered(
    request: HttpRequest, collection: Collection, form: ClutchForm, young: Sequence[YoungForm]
) -> HttpResponse:
    codes = [row.cleaned_data["code"] for row in young]
    span = codes[0] if len(codes) == 1 else f"{codes[0]} to {codes[-1]}"
    messages.success(request, f"{len(codes)} young registered: {span}.")
    given = form.cleaned_data
    is_clutch = given["dam"] or given["sire"]
    return redirect("clutches" if is_clutch else "collection", collection.pk)


def _grid_page(
    request: HttpRequest,
    collection: Collection,
    form: ClutchForm,
    rows: YoungForms,
    sitting: SittingForm,
) -> HttpResponse:
    """The grid; with what is the same for all above it, which can still be put right."""
    refused = bool(form.errors or sitting.errors or rows.total_error_count())
    context = {
        "collection": collection,
        "form": form,
        "about": [one for one in form.visible_fields() if one.name not in SETTLED],
        "settled": [one for one in form.visible_fields() if one.name in SETTLED],
        "summary": _in_words(form),
        "rows": rows,
        "sitting": sitting,
        "refused": refused,
        "hint": METHODS["eversion"].hint,
        "hatchlings": _cautions(form),
    } | before_a_check(request)
    status = max(form.status, 422) if refused else 200
    return page(request, "breeding/clutch_grid.html", context, status=status)


def _cautions(form: ClutchForm) -> list[str]:
    hatched = form.cleaned_data.get("hatched")
    return list(of_hatchlings(hatched, timezone.localdate())) if hatched else []


def _in_words(form: ClutchForm) -> str:
    """The clutch in a line; empty while something of it is refused."""
    given = form.cleaned_data
    if form.errors:
        return ""
    parents = form.animals.prefetch_related("identifiers").in_bulk(
        ids_among(given[one] for one in form.parents)
    )
    named = (
        f"{role} {title_of(parents[UUID(given[role])])}" for role in form.parents if given[role]
    )
    return "; ".join([taxon(given["species"]).common.capitalize(), *named])
