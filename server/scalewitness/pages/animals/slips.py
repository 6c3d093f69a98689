"""An animal that was registered in error: stating it, and what is shown of it then."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals.queries import animal_of, for_steward, title_of
from scalewitness.animals.queries.slips import slip_of
from scalewitness.domain.fact_words import in_words
from scalewitness.ledger.queries.entries import entries_about, leaf_of
from scalewitness.pages.animals.forms import SlipForm
from scalewitness.pages.parts.access import actor_of, page, signed_in
from scalewitness.people.models import Keeper
from scalewitness.people.queries import names_of
from scalewitness.receipts.queries import readable


@signed_in
def state_slip(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    """Once stated, its own page is what is left of it."""
    found = animal_of(animal_id) or slip_of(animal_id)
    animal = for_steward(found, lambda one: one.collection, keeper.pk, timezone.now())
    title, form = title_of(animal), SlipForm(request.POST or None)
    if form.is_valid() and form.send(animal.pk, actor_of(keeper)) is not None:
        messages.success(request, f"{title} is out of your lists. Its codes are free.")
        return redirect("animal", animal.pk)
    return page(request, "animals/slip.html", {"animal": animal, "title": title}, form)


def left_of_slip(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    """What the log keeps of it, for who keeps the collection that it was registered in.

    Raises:
        NotFound: it was not registered in error, or is not theirs.
    """
    now = timezone.now()
    slip = for_steward(slip_of(animal_id), lambda one: one.collection, keeper.pk, now)
    entries = entries_about(slip.pk)
    open_ones = readable(keeper.pk, entries, now)
    names = names_of({one.by for one in entries if one.by})
    lines = [
        {
            "entry": one,
            "words": in_words(one.kind, leaf_of(one).body),
            "who": names[one.by] if one.by else "the record",
            "readable": one.position in open_ones,
        }
        for one in entries
    ]
    return page(request, "animals/left_of_slip.html", {"animal": slip, "lines": lines})
