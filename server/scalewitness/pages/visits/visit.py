"""Visits: inviting, answering, and the sheet a guest works from."""

from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.domain.cautions import HOLD_OFF
from scalewitness.pages.collections.collection import stewarded
from scalewitness.pages.guards.throttling import takes_an_address
from scalewitness.pages.parts.access import actor_of, page, post_or_go, signed_in
from scalewitness.pages.parts.before_a_check import before_a_check
from scalewitness.pages.parts.facts import StepForm
from scalewitness.pages.parts.listing import listed
from scalewitness.pages.parts.picking import own_animals, picked
from scalewitness.pages.visits.forms import InvitationForm
from scalewitness.pages.visits.sheet import sheet_of
from scalewitness.people.models import Keeper
from scalewitness.visits.queries import held_off_on, state_of, visit_seen, visits_of

STATES = {
    "invited": "invited, not yet answered",
    "accepted": "accepted, not yet open",
    "open": "open",
    "over": "over",
    "declined": "declined",
    "cancelled": "called off",
}
ANSWERS = {
    "acceptance": "visit_accepted",
    "refusal": "visit_declined",
    "cancellation": "visit_cancelled",
}


@signed_in
def show_visits(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    now = timezone.now()
    found = listed(request, visits_of(keeper.pk))
    rows = [
        {"visit": one, "state": STATES[state_of(one, now)], "hosting": one.host_id == keeper.pk}
        for one in found
    ]
    return page(request, "visits/visits.html", {"rows": rows, "listed": found})


@signed_in
@takes_an_address
def invite(request: HttpRequest, keeper: Keeper, collection_id: UUID) -> HttpResponse:
    collection = stewarded(keeper, collection_id)
    form = picked(
        request,
        InvitationForm,
        {"animals": own_animals(keeper, collection)},
        initial={"animals": request.GET.getlist("animal")},
        collection=collection.pk,
    )
    if form.is_valid():
        visit = form.cleaned_data["visit"]
        if form.send(visit, actor_of(keeper)) is not None:
            messages.success(request, "Invited. They are told by letter.")
            return redirect("visit", visit)
    return page(request, "visits/invite.html", {"collection": collection}, form)


@signed_in
def show_visit(request: HttpRequest, keeper: Keeper, visit_id: UUID) -> HttpResponse:
    return _visit_page(request, keeper, visit_id)


def _visit_page(
    request: HttpRequest, keeper: Keeper, visit_id: UUID, refused: StepForm | None = None
) -> HttpResponse:
    now = timezone.now()
    visit, hosting = visit_seen(keeper.pk, visit_id, now)
    state = state_of(visit, now)
    context = {
        "visit": visit,
        "hosting": hosting,
        "state": state,
        "state_words": STATES[state],
        "count": visit.animals.filter(ended="").count(),
        "held_off": held_off_on([visit])[visit.pk] if hosting else (),
        "acceptance": StepForm("visit_accepted"),
        "refusal": StepForm("visit_declined"),
        "cancellation": StepForm("visit_cancelled"),
        "refused": refused,
    }
    status = refused.status if refused else 200
    return page(request, "visits/visit.html", context, status=status)


@post_or_go("visit")
@signed_in
def answer(request: HttpRequest, keeper: Keeper, visit_id: UUID, what: str) -> HttpResponse:
    if what not in ANSWERS:
        raise Http404
    form = StepForm(ANSWERS[what], request.POST)
    if form.is_valid() and form.send(visit_id, actor_of(keeper)) is not None:
        return redirect("visit", visit_id)
    return _visit_page(request, keeper, visit_id, form)


@signed_in
def show_sheet(request: HttpRequest, keeper: Keeper, visit_id: UUID) -> HttpResponse:
    """The animals of a visit by code. A guest sees it while the visit is open."""
    now = timezone.now()
    visit, hosting = visit_seen(keeper.pk, visit_id, now)
    sheet = sheet_of(keeper.pk, visit, now)
    context = {
        "visit": visit,
        "hosting": hosting,
        "open": state_of(visit, now) == "open",
        "sheet": sheet,
        "notice": HOLD_OFF if sheet.alone else "",
    }
    return page(request, "visits/sheet.html", context | before_a_check(request))
