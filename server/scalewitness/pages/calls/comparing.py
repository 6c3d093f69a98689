"""A photo of a check beside earlier ones, and nothing of what anybody found."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals.models import Photo
from scalewitness.animals.queries import photos_of, title_of
from scalewitness.calls.queries.made import call_of
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.domain.errors import NotFound
from scalewitness.intake.rules.comparing import pairs_of
from scalewitness.mail.templatetags.words import day
from scalewitness.pages.calls.forms import one_of
from scalewitness.pages.parts.access import actor_of, page, say_accepted, signed_in
from scalewitness.pages.parts.facts import FactForm
from scalewitness.people.models import Keeper


class ComparisonForm(FactForm):
    kind = "photos_compared"
    photo = one_of("Photo of the check", ())
    earlier = one_of("Earlier photo", ())
    answer = one_of(
        "Do they show the same animal?",
        (("same", "Yes, the same animal"), ("another", "No, another animal")),
    )

    def __init__(
        self, *args: Any, call: UUID, pair: tuple[list[Photo], list[Photo]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.call = call
        for name, photos in zip(("photo", "earlier"), pair, strict=True):
            choices = _numbered(photos)
            self.fields[name].choices = choices  # type: ignore[attr-defined]
            self.initial[name] = choices[0][0] if len(choices) == 1 else None

    def body(self) -> dict[str, Any]:
        given = {name: self.cleaned_data[name] for name in ("photo", "earlier", "answer")}
        return {"call": str(self.call), **given}


def _numbered(photos: Iterable[Photo]) -> list[tuple[str, str]]:
    return [(str(one.pk), f"{n}, of {day(one.at)}") for n, one in enumerate(photos, start=1)]


@signed_in
def compare(request: HttpRequest, keeper: Keeper, call_id: UUID) -> HttpResponse:
    call = call_of(call_id)
    if call is None:
        raise NotFound()
    animal = animal_open(keeper.pk, call.animal_id, timezone.now())
    pair = pairs_of(call, list(photos_of(animal.pk)))
    if pair is None:
        raise NotFound()
    form = ComparisonForm(request.POST or None, call=call.pk, pair=pair)
    if form.is_valid():
        outcome = form.send(animal.pk, actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome)
            return redirect("animal", animal.pk)
    own, earlier = pair
    context = {"title": title_of(animal), "animal": animal, "own": own, "earlier": earlier}
    return page(request, "calls/comparing.html", context, form)
