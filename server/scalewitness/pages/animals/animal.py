"""One animal: what is known of it, and what its keepers note and correct."""

from collections.abc import Mapping
from operator import attrgetter
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from scalewitness.animals import services
from scalewitness.animals.models import ON_SHEET, Animal, Identifier
from scalewitness.animals.queries import (
    Edit,
    LastNoted,
    animal_of,
    condition,
    condition_in,
    edits_of,
    for_steward,
    title_of,
)
from scalewitness.calls.queries.visibility import (
    animal_open,
    animal_seen,
    parents_shown,
    reader_of,
    visible_animals,
)
from scalewitness.domain.cautions import is_held_off, reasons_to_wait
from scalewitness.domain.errors import NotFound, VersionStale
from scalewitness.domain.sexing.linked_trait import LinkedTrait, linked_traits
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.examiners.settled import settled_behind
from scalewitness.ledger.queries.entries import entries_about
from scalewitness.pages.animals.acting import next_step
from scalewitness.pages.animals.around import Parents, around_it
from scalewitness.pages.animals.evidence import (
    by_name,
    late_in_words,
    lines_of,
    of_the_animal,
    offered_to,
    sensitivity_of,
)
from scalewitness.pages.animals.forms import (
    HUSBANDRY,
    RECORD,
    EndCorrectionForm,
    EndForm,
    ParticularsForm,
    RecordForm,
    RegisterForm,
)
from scalewitness.pages.animals.life import life_of
from scalewitness.pages.animals.linkage_form import LinkageForm
from scalewitness.pages.animals.parents import possible_parents
from scalewitness.pages.animals.settled import own_records
from scalewitness.pages.animals.slips import left_of_slip
from scalewitness.pages.animals.stated import traits_shown
from scalewitness.pages.animals.story import story_of
from scalewitness.pages.animals.transponders import moved_number, warn_of_number
from scalewitness.pages.breeding.paired import in_words
from scalewitness.pages.collections.collection import stewarded
from scalewitness.pages.parts.access import actor_of, page, say_accepted, signed_in
from scalewitness.pages.parts.facts import FactForm
from scalewitness.pages.parts.picking import picked
from scalewitness.pages.parts.proving import (
    CALLS,
    Proving,
    Shown,
    all_of,
    late_of,
    seen_now,
    sheet_of,
    standing_of,
)
from scalewitness.pages.parts.stating import say
from scalewitness.pages.plots.of_case import course_of, depths_of
from scalewitness.people.models import Keeper
from scalewitness.people.queries import names_of
from scalewitness.planning.settling import what_would_settle
from scalewitness.planning.supposing import Occasion
from scalewitness.quoted.queries import quotes_shown
from scalewitness.receipts.queries import withheld
from scalewitness.sales.queries.returns import last_return_among
from scalewitness.standings.queries.dossier import Dossier, dossier


def blind_view(animal: Animal, known: LastNoted | None = None) -> dict[str, Any]:
    """All that a blind guest may know of an animal, as plain values: nothing else about it
    ever reaches a blind template. ``known``: its condition, where many are read at once."""
    now, known = timezone.now(), known or condition(animal.pk)
    codes = [one for one in animal.identifiers.all() if one.scheme in ON_SHEET]
    codes.sort(key=lambda one: (one.scheme, one.position))
    return {
        "id": animal.pk,
        "codes": [{"scheme": one.scheme, "code": one.code} for one in codes],
        "species": taxon(animal.species),
        "hatched": animal.hatched,
        "ended": animal.ended,
        "ended_at": animal.ended_at,
        "grams": known.grams,
        "weighed_at": known.weighed_at,
        "fed_at": known.fed_at,
        "shed": known.shed,
        "hold_off": is_held_off(asked=animal.hold_off, health=known.health),
        "warnings": list(reasons_to_wait(known, hold_off=animal.hold_off, now=now, steward=False)),
    }


def full_view(animal: Animal) -> dict[str, Any]:
    """What someone who may see an animal whole is shown of its sex."""
    case = dossier(animal)
    return {
        "case": case,
        "calls": by_name(case),
        "photos": of_the_animal(case),
        "answer": lines_of(case, "answer"),
        "reasons": lines_of(case, "reason"),
        "cautions": lines_of(case, "caution"),
        "sensitivity": sensitivity_of(case),
        "late": late_in_words(case.late),
    }


def stewarded_animal(keeper: Keeper, animal_id: UUID) -> Animal:
    """An animal the keeper holds or is a partner in.

    Raises:
        NotFound: not theirs, or there is none.
    """
    return for_steward(animal_of(animal_id), lambda one: one.collection, keeper.pk, timezone.now())


@signed_in
def show_animal(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    now, seen = timezone.now(), seen_now()
    try:
        animal, sight = animal_seen(keeper.pk, animal_id, now)
    except NotFound:
        return left_of_slip(request, keeper, animal_id)
    if sight == "blind":
        return page(request, "animals/blind.html", {"animal": blind_view(animal)})
    reader, view = reader_of(keeper.pk, now), full_view(animal)
    case = view["case"]
    life = life_of(animal)
    around = around_it(case, life.asked, reader)
    state, codes = condition_in(life.notes), list(animal.identifiers.all())
    stated, more_stated = traits_shown(animal)
    occasion = Occasion(around.steward, around.elsewhere, state.grams, codes)
    settles = what_would_settle(case, occasion, keeper.pk, now)
    context = view | {
        "next_step": next_step(case, settles) if around.steward else None,
        "settles": settles.words,
        "numbers": view["calls"] or case.start.alone,
        "calls": offered_to(reader, animal, view["calls"]),
        "depths": depths_of(case),
        "course": course_of(case),
        "settled": own_records(settled_behind(case, reader), view["calls"]),
        "animal": animal,
        "title": title_of(animal),
        "steward": around.steward,
        "keeper": keeper,
        "taxon": taxon(animal.species),
        "identifiers": sorted(codes, key=attrgetter("position")),
        "pairings": in_words(around.pairings),
        "story": story_of(animal, life, view["calls"], case.standings, around.pairings, reader),
        "condition": state,
        "parents": around.parents,
        "named": around.named,
        "dispute": life.dispute,
        "stated": stated,
        "quotes": quotes_shown(animal.pk),
        "more_stated": more_stated,
        "linkable": linkable(animal, around.parents),
        "returned": last_return_among(life.moves, life.sales, now),
        "shared": around.shared,
        "others": around.others,
        "proof": Proving(reverse("proof", args=[animal.pk]), seen, _shown(animal, case, codes)),
    }
    return page(request, "animals/animal.html", context)


def _shown(animal: Animal, case: Dossier, codes: list[Identifier]) -> list[Shown]:
    """What its page shows beside the lines of calls and photos."""
    title = title_of(animal)
    return [
        all_of(title, animal.pk, (*CALLS, "photo_attached")),
        standing_of(title, animal.pk, case.standing),
        sheet_of(title, animal, codes),
        *late_of(title, animal.pk),
    ]


def _parents(keeper: Keeper, animal: Animal) -> Parents:
    shown = parents_shown(keeper.pk, [animal], timezone.now())[animal.pk]
    return dict(zip(("sire", "dam"), shown, strict=True))


@signed_in
def register(request: HttpRequest, keeper: Keeper, collection_id: UUID) -> HttpResponse:
    collection = stewarded(keeper, collection_id)
    form = picked(request, RegisterForm, possible_parents(keeper), collection=collection)
    if form.is_valid() and _register(request, form, keeper):
        return redirect("animal", form.cleaned_data["animal"])
    return page(request, "animals/register.html", {"collection": collection}, form)


def seen_whole(keeper: Keeper) -> QuerySet[Animal]:
    """Animals the keeper sees whole, to choose parents and mates from."""
    return visible_animals(keeper.pk, timezone.now()).filter(sight="all")


def _register(request: HttpRequest, form: RegisterForm, keeper: Keeper) -> bool:
    """The animal, its identifier and its name, all or nothing."""
    now, animal = timezone.now(), form.cleaned_data["animal"]
    items = form.items()  # before a refusal takes the field that it names out of the form
    with transaction.atomic():
        outcomes = say(items, actor_of(keeper), now)
        refused = next((one.problem for one in outcomes if one.problem), None)
        if refused is not None:
            transaction.set_rollback(True)
            form.refuse(refused)
            form.keep_to_sign(items, keeper.pk)
            return False
        for outcome in outcomes:
            warn_of_number(request, outcome)
        name = form.cleaned_data["name"]
        if name and outcomes[0].status == "accepted":
            made = Animal.objects.get(pk=animal)
            services.edit(made, {"name": name}, version=made.version, by=keeper, now=now)
    return True


@signed_in
def edit_record(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    animal = stewarded_animal(keeper, animal_id)
    initial = {name: getattr(animal, name) for name in RECORD} | {"version": animal.version}
    form = RecordForm(request.POST or None, initial=initial)
    if not form.is_valid():
        status = 422 if form.errors else 200
        context = {"animal": animal, "title": title_of(animal), "form": form}
        return page(request, "animals/edit.html", context, status=status)
    try:
        services.edit(
            animal,
            form.given(),
            version=form.cleaned_data["version"],
            by=keeper,
            now=timezone.now(),
        )
    except VersionStale:
        return _conflict(request, animal.pk, form)
    return redirect("animal", animal.pk)


def _conflict(request: HttpRequest, animal_id: UUID, form: RecordForm) -> HttpResponse:
    """Both values side by side; what was typed stays in the form, under the new version."""
    animal = Animal.objects.get(pk=animal_id)
    again = RecordForm(initial=form.given() | {"version": animal.version})
    differ = [
        {"label": again.fields[name].label, "yours": yours, "theirs": getattr(animal, name)}
        for name, yours in form.given().items()
        if yours != getattr(animal, name)
    ]
    context = {"animal": animal, "title": title_of(animal), "form": again, "differ": differ}
    return page(request, "animals/conflict.html", context, status=412)


@signed_in
def correct_particulars(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    animal = stewarded_animal(keeper, animal_id)
    parents = _parents(keeper, animal)
    kept = {**_particulars(animal), **parents}
    form = picked(request, ParticularsForm, possible_parents(keeper, animal.pk), initial=kept)
    form.offer_kept(parents)
    return say_of(request, keeper, animal, form, "Correct its particulars")


def _particulars(animal: Animal) -> Mapping[str, Any]:
    return {
        "species": animal.species,
        "hatched": animal.hatched,
        "traits": ", ".join(animal.traits),
    }


@signed_in
def end(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    """That it died, is lost or was stolen; of one that did or is, that it is there again."""
    animal = stewarded_animal(keeper, animal_id)
    if animal.ended:
        correction = EndCorrectionForm(request.POST or None, ended=animal.ended)
        return say_of(request, keeper, animal, correction, "It is there again")
    return say_of(request, keeper, animal, EndForm(request.POST or None), "Died, lost or stolen")


@signed_in
def state_linkage(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    """Once both parents are on record and a linked trait is known in the species."""
    animal = stewarded_animal(keeper, animal_id)
    trait = linkable(animal, _parents(keeper, animal))
    if trait is None:
        raise NotFound()
    form = LinkageForm(request.POST or None, animal=animal, trait=trait)
    heading = f"State the linkage of {trait.key.replace('_', ' ')}"
    return say_of(request, keeper, animal, form, heading)


def linkable(animal: Animal, parents: Parents) -> LinkedTrait | None:
    """The trait of which linkage can be stated, None unless both parents are told."""
    if None in parents.values():
        return None
    return next((one for one in linked_traits().values() if one.species == animal.species), None)


@signed_in
def note_husbandry(request: HttpRequest, keeper: Keeper, animal_id: str, type: str) -> HttpResponse:
    """Stewards note anything; a guest, blind or not, may leave a weight. Its address is a regular
    expression, which gives text."""
    animal, sight = animal_seen(keeper.pk, UUID(animal_id), timezone.now())
    if type != "weight":
        stewarded_animal(keeper, animal.pk)
    form = HUSBANDRY[type](request.POST or None)
    title = title_of(animal) if sight == "all" else blind_title(animal)
    return say_of(request, keeper, animal, form, form.title, title)


def blind_title(animal: Animal) -> str:
    """A code to go by, where the name must stay hidden."""
    codes = animal.identifiers.filter(scheme__in=ON_SHEET)
    first = codes.order_by("scheme", "position").first()
    return first.code if first else "An animal without a code"


def say_of(
    request: HttpRequest,
    keeper: Keeper,
    animal: Animal,
    form: FactForm,
    heading: str,
    title: str | None = None,
) -> HttpResponse:
    """One fact about an animal from a plain form, then back to the animal."""
    if form.is_valid():
        outcome = form.send(animal.pk, actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome)
            warn_of_number(request, outcome)
            return redirect("animal", animal.pk)
    context = {"id": animal.pk, "title": title or title_of(animal), "heading": heading}
    return page(request, "animals/fact.html", context, form)


@signed_in
def show_history(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    """Edits made while in its present collection, and every fact about it in log order."""
    animal = animal_open(keeper.pk, animal_id, timezone.now())
    entries, edits = entries_about(animal.pk), edits_of(animal)
    names = names_of({one.by for one in entries if one.by} | {one.by for one in edits if one.by})
    context = {
        "animal": animal,
        "title": title_of(animal),
        "entries": [
            (one, names.get(one.by) if one.by else "the record", moved_number(one))
            for one in entries
        ],
        "withheld": withheld(keeper.pk, animal, entries, timezone.now()),
        "edits": [
            (one, names.get(one.by) if one.by else "the record", _changes(one)) for one in edits
        ],
    }
    return page(request, "animals/history.html", context)


def _changes(edit: Edit) -> list[tuple[object, Any, Any]]:
    """What an edit changed: the field's label, what was and what is now."""
    labels = {name: field.label for name, field in RecordForm.base_fields.items()}
    return [(labels[name], was, now) for name, (was, now) in edit.fields.items()]
