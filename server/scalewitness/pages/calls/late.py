"""What came late: checks that wait for a decision, were decided on, or were taken as they came."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

import msgspec
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals.queries import for_steward, stewarded_collections, title_of
from scalewitness.calls.models import HeldCall
from scalewitness.calls.queries.held import (
    decided_calls,
    decided_notes,
    held_calls,
    lone_notes_in,
    own_held_calls,
    own_held_notes,
    to_decide,
)
from scalewitness.domain.clocks import correction_in_words
from scalewitness.domain.facts import CallMade
from scalewitness.domain.methods import METHODS
from scalewitness.domain.moments import parse_moment
from scalewitness.domain.observations import method_of
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.pages.animals.evidence import flags_of
from scalewitness.pages.parts.access import actor_of, page, post_or_go, say_accepted, signed_in
from scalewitness.pages.parts.facts import FactForm
from scalewitness.people.models import Keeper
from scalewitness.people.queries import names_of
from scalewitness.sales.queries import animals_on_sale
from scalewitness.standings.queries.late import Late, late_calls


class DecisionForm(FactForm):
    """Two buttons, admit or not; one per held call on a page, hence no element ids."""

    kind = "late_call_decided"

    def __init__(self, *args: Any, held: UUID, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.auto_id = False
        self.held = held

    def body(self) -> dict[str, Any]:
        return {"held": str(self.held), "admitted": self.data.get("admitted") == "yes"}


@signed_in
def show_held(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    return _held_page(request, keeper)


def _held_page(
    request: HttpRequest, keeper: Keeper, refused: DecisionForm | None = None
) -> HttpResponse:
    now = timezone.now()
    collections = [one.pk for one in stewarded_collections(keeper.pk, now)]
    waiting, decided = held_calls(collections), decided_calls(collections)
    taken = late_calls(collections, now)
    awaited = animals_on_sale(one.animal_id for one in waiting)
    waiting.sort(key=lambda one: one.animal_id not in awaited)
    alone, settled = lone_notes_in(collections, now), decided_notes(collections)
    people = [one.by for one in (*waiting, *decided, *alone, *settled)] + [
        one.call.examiner for one in taken
    ]
    names = names_of(people)
    rows = [
        _held_row(one, names)
        | {"form": DecisionForm(held=one.pk), "sale": one.animal_id in awaited}
        for one in waiting
    ]
    context = {
        "rows": rows,
        "refused": refused,
        "taken": [_late_row(one, names) for one in taken],
        "decided": [_held_row(one, names) for one in decided],
        "notes": [_note_row(one, names) | {"form": DecisionForm(held=one.pk)} for one in alone],
        "decided_notes": [_note_row(one, names) for one in settled],
        "own_notes": [_note_row(one, {}) for one in own_held_notes(keeper.pk)],
        "own": [own_row(one) for one in own_held_calls(keeper.pk)],
    }
    status = refused.status if refused else 200
    return page(request, "calls/held_calls.html", context, status=status)


def _held_row(held: HeldCall, names: Mapping[UUID, str]) -> dict[str, Any]:
    made = msgspec.convert(held.submission["body"], CallMade)
    return {
        "held": held,
        "title": title_of(held.animal),
        "who": names.get(held.by, "a keeper"),
        "examined": parse_moment(held.submission["at"]),
        "corrected": correction_in_words(made.corrected) if made.corrected else None,
    }


def _note_row(held: HeldCall, names: Mapping[UUID, str]) -> dict[str, Any]:
    return {
        "held": held,
        "title": title_of(held.animal) if names else taxon(held.animal.species).common,
        "who": names.get(held.by, "a keeper"),
        "noted": parse_moment(held.submission["at"]),
    }


def own_row(held: HeldCall) -> dict[str, Any]:
    """As whoever sent it is shown it; of the animal no more than they sent."""
    made = msgspec.convert(held.submission["body"], CallMade)
    return {
        "held": held,
        "code": made.identified.code,
        "species": taxon(held.animal.species),
        "method": METHODS[method_of(made.observed)].name,
        "conclusion": made.conclusion,
        "examined": parse_moment(held.submission["at"]),
        "corrected": correction_in_words(made.corrected) if made.corrected else None,
    }


def _late_row(late: Late, names: Mapping[UUID, str]) -> dict[str, Any]:
    call = late.call
    return {
        "call": call,
        "title": title_of(call.animal),
        "who": names.get(call.examiner, "a keeper"),
        "method": METHODS[call.method].name,
        "days": (call.received_at - call.examined_at).days,
        "before": late.before,
        "after": late.after,
        "flags": flags_of(call, msgspec.convert(call.body, CallMade)),
    }


@post_or_go("held_calls", of_it=False)
@signed_in
def decide(request: HttpRequest, keeper: Keeper, held_id: UUID) -> HttpResponse:
    held = for_steward(
        to_decide(held_id, timezone.now()),
        lambda one: one.animal.collection,
        keeper.pk,
        timezone.now(),
    )
    form = DecisionForm(request.POST or None, held=held.pk)
    if not form.is_valid():
        return _held_page(request, keeper, form)
    outcome = form.send(held.animal_id, actor_of(keeper))
    if outcome is None:
        return _held_page(request, keeper, form)
    say_accepted(request, outcome, "Your decision is on record at")
    return redirect("held_calls")
