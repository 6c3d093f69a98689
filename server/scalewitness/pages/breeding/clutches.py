"""Clutches: their counts and sex ratios, and a whole clutch's calls in one form."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import conditions_of, title_of
from scalewitness.breeding.queries.clutches import (
    Clutch,
    broods_in,
    clutch_with,
    clutches_of,
    ratio_in_words,
)
from scalewitness.calls.queries.visibility import visible_animals
from scalewitness.domain.cautions import reasons_to_wait
from scalewitness.intake.outcomes import Outcome
from scalewitness.pages.animals.chosen import labels_for
from scalewitness.pages.breeding.clutch_forms import ROWS, HatchlingForm, TogetherForm
from scalewitness.pages.collections.collection import stewarded
from scalewitness.pages.parts.access import actor_of, page, signed_in
from scalewitness.pages.parts.before_a_check import before_a_check
from scalewitness.pages.parts.listing import listed
from scalewitness.pages.parts.stating import say
from scalewitness.pages.parts.unsigned import file_to_sign, wants_signature
from scalewitness.people.models import Keeper


@dataclass(slots=True)
class HatchlingRow:
    """A hatchling in the form; ``recorded`` once its call was taken."""

    animal: Animal
    title: str
    form: HatchlingForm
    warnings: Sequence[Any] = ()
    recorded: str | None = None


@signed_in
def show_clutches(request: HttpRequest, keeper: Keeper, collection_id: UUID) -> HttpResponse:
    collection = stewarded(keeper, collection_id)
    now = timezone.now()
    found = listed(request, broods_in(collection, keeper.pk, now))
    clutches = clutches_of(list(found), keeper.pk, now)
    parents = _parents(keeper, clutches)
    shown = [
        {
            "clutch": one,
            "dam": parents.get(one.dam) if one.dam else None,
            "sire": parents.get(one.sire) if one.sire else None,
            "ratio": ratio_in_words(one.ratio) if one.ratio else None,
        }
        for one in clutches
    ]
    context = {"collection": collection, "shown": shown, "listed": found}
    return page(request, "collections/clutches.html", context)


def _parents(keeper: Keeper, clutches: Sequence[Clutch]) -> dict[UUID, str]:
    """Titles of parents the keeper may see whole."""
    ids = {parent for one in clutches for parent in (one.sire, one.dam) if parent}
    seen = visible_animals(keeper.pk, timezone.now()).filter(sight="all", pk__in=ids)
    return {one.pk: title_of(one) for one in seen.prefetch_related("identifiers")}


@signed_in
def print_clutch_labels(
    request: HttpRequest, keeper: Keeper, collection_id: UUID, animal_id: UUID
) -> HttpResponse:
    """For the tubs of those of a clutch that are there."""
    collection = stewarded(keeper, collection_id)
    clutch = clutch_with(collection, animal_id, keeper.pk, timezone.now())
    return labels_for(request, [one for one in clutch.animals if not one.ended])


@signed_in
def log_clutch(
    request: HttpRequest, keeper: Keeper, collection_id: UUID, animal_id: UUID, method: str
) -> HttpResponse:
    """Every row is taken or refused on its own; refused ones stay as typed. A form sent
    twice says the same calls twice, which the record takes once."""
    collection = stewarded(keeper, collection_id)
    if method not in ROWS:
        raise Http404
    clutch = clutch_with(collection, animal_id, keeper.pk, timezone.now())
    posted = request.POST or None
    together = TogetherForm(posted)
    rows = [_row(one, ROWS[method], request) for one in clutch.animals if not one.ended]
    _warn(rows)
    context = {
        "collection": collection,
        "clutch": clutch,
        "method": method,
        "together": together,
        "rows": rows,
    } | before_a_check(request)
    if posted is None:
        return page(request, "collections/clutch_calls.html", context)
    taken = _take(keeper, together, rows) if together.is_valid() else 0
    refused = [row for row in rows if row.form.errors]
    if taken and not refused:
        messages.success(request, f"{taken} call{'s' * (taken > 1)} recorded.")
        return redirect("clutches", collection.pk)
    context |= {"taken": taken, "refused": refused, "nothing": not taken and not refused}
    return page(request, "collections/clutch_calls.html", context, status=422)


def _row(animal: Animal, kind: type[HatchlingForm], request: HttpRequest) -> HatchlingRow:
    prefix = f"h{animal.pk}"
    bound = f"{prefix}-id" in request.POST
    tags = [one.code for one in animal.identifiers.all() if one.scheme == "tag"]
    form = kind(request.POST if bound else None, prefix=prefix)
    name = animal.name or (tags[0] if tags else title_of(animal))
    return HatchlingRow(animal, name, form)


def _warn(rows: Sequence[HatchlingRow]) -> None:
    known, now = conditions_of(row.animal.pk for row in rows), timezone.now()
    for row in rows:
        row.warnings = list(
            reasons_to_wait(
                known[row.animal.pk], hold_off=row.animal.hold_off, now=now, steward=True
            )
        )


def _take(keeper: Keeper, together: TogetherForm, rows: Sequence[HatchlingRow]) -> int:
    """Send what is complete as one batch; the number of calls on record by it."""
    ready = [row for row in rows if row.form.is_valid() and not row.form.empty]
    for row in ready:
        row.form.together = together.cleaned_data
    items = [row.form.item(row.animal.pk) for row in ready]
    outcomes = say(items, actor_of(keeper), timezone.now())
    unsigned = [item for item, one in zip(items, outcomes, strict=True) if wants_signature(one)]
    together.to_sign = file_to_sign(unsigned, keeper.pk)
    return sum(_stored(row, outcome) for row, outcome in zip(ready, outcomes, strict=True))


def _stored(row: HatchlingRow, outcome: Outcome) -> bool:
    if outcome.problem is not None:
        row.form.refuse(outcome.problem)
        return False
    row.recorded = f"{row.form.cleaned_data['conclusion']}, recorded at position {outcome.position}"
    return True
