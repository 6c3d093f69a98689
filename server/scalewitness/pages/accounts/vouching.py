"""Whether one's own word may verify a sex, and answering for other examiners."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from scalewitness.domain.vouching import AS, own_in_words
from scalewitness.pages.calls.forms import one_of
from scalewitness.pages.guards.throttling import takes_an_address
from scalewitness.pages.parts.access import actor_of, page, signed_in
from scalewitness.pages.parts.facts import FactForm
from scalewitness.pages.parts.picking import picked
from scalewitness.pages.parts.somebody import NamesSomebody, known_people
from scalewitness.people.models import Keeper
from scalewitness.people.queries import deceivers_among, names_of
from scalewitness.standings.queries.footing import footing_of, may_vouch, vouched_by


class VouchingForm(NamesSomebody, FactForm):
    kind = "keeper_vouched"
    question = "For whom?"
    field_order = ("known", "email")

    practice = one_of(
        "As what?",
        (
            ("", "As an examiner"),
            ("veterinarian", "As the veterinary practice that the account says it is"),
            ("laboratory", "As the laboratory that the account says it is"),
        ),
        required=False,
    )
    vouches = one_of("What do you state?", (("yes", "I vouch for them"), ("no", "No longer")))

    def body(self) -> dict[str, Any]:
        practice = self.cleaned_data["practice"]
        body = {} if self.cleaned_data["vouches"] == "yes" else {"vouches": False}
        return {**body, "practice": practice} if practice else body


def _vouched_by(keeper: Keeper) -> list[str]:
    found = vouched_by(keeper.pk)
    names = names_of(one.keeper_id for one in found)
    return sorted(f"{names[one.keeper_id]}, {AS[one.practice]}" for one in found)


@signed_in
@takes_an_address
def vouch(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    form = picked(request, VouchingForm, known_people(keeper))
    if form.is_valid() and form.send(form.somebody, actor_of(keeper)) is not None:
        messages.success(request, "It is on record.")
        return redirect("vouching")
    context = {
        "own": own_in_words(footing_of(keeper.pk), deceived=bool(deceivers_among([keeper.pk]))),
        "may": may_vouch(keeper.pk),
        "vouched": _vouched_by(keeper),
    }
    return page(request, "people/vouching.html", context, form)
