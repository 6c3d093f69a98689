"""Visits: inviting, answering, and the sheet a guest works from."""

from collections.abc import Mapping
from typing import Final
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.disputes.queries.disputes import by_need
from scalewitness.domain.cautions import HOLD_OFF
from scalewitness.intake.invitations import HoldsNoLonger, signs_all, take_up
from scalewitness.pages.collections.collection import stewarded
from scalewitness.pages.guards.throttling import takes_an_address
from scalewitness.pages.parts.access import actor_of, page, post_or_go, signed_in
from scalewitness.pages.parts.before_a_check import before_a_check
from scalewitness.pages.parts.facts import StepForm
from scalewitness.pages.parts.listing import listed
from scalewitness.pages.parts.picking import Listed, known_as, own_animals, picked
from scalewitness.pages.parts.picks import SHOWN
from scalewitness.pages.parts.stating import is_asking
from scalewitness.pages.visits.forms import InvitationForm
from scalewitness.pages.visits.sheet import sheet_of
from scalewitness.people.models import Keeper
from scalewitness.visits.models import InvitationByLetter
from scalewitness.visits.queries import (
    Met,
    held_off_on,
    invitation_by_letter,
    invitations_by_letter,
    may_be_invited,
    state_of,
    visit_seen,
    visits_of,
)
from scalewitness.visits.services import decline_by_letter, forget_invitation

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
    by_letter = [(one, one.host_id == keeper.pk) for one in invitations_by_letter(keeper, now)]
    context = {"rows": rows, "listed": found, "by_letter": by_letter}
    return page(request, "visits/visits.html", context)


@signed_in
@takes_an_address
def invite(request: HttpRequest, keeper: Keeper, collection_id: UUID) -> HttpResponse:
    collection = stewarded(keeper, collection_id)
    known = may_be_invited(keeper.pk, collection, timezone.now())
    needy = list(by_need(collection).values_list("pk", flat=True)[:SHOWN])
    form = picked(
        request,
        InvitationForm,
        {"guest": _by_name(known), "animals": own_animals(keeper, collection, needy)},
        initial={"animals": request.GET.getlist("animal")},
        collection=collection.pk,
    )
    if form.is_valid() and (page_of := form.invite(keeper)):
        messages.success(request, INVITED[page_of])
        return redirect(page_of, form.cleaned_data["visit"])
    return page(request, "visits/invite.html", {"collection": collection}, form)


INVITED: Final = {"visit": "Invited. They are told by letter.", "by_letter": "Invited."}


def _by_name(known: Mapping[UUID, Met]) -> Listed:
    return Listed([known_as(person, *one) for person, one in known.items()])


@signed_in
def show_by_letter(request: HttpRequest, keeper: Keeper, invitation_id: UUID) -> HttpResponse:
    """An invitation that waits, to whoever wrote it and to whom it was written."""
    return _by_letter_page(request, keeper, invitation_id, StepForm(ANSWERS["acceptance"]))


def _by_letter_page(
    request: HttpRequest, keeper: Keeper, invitation_id: UUID, acceptance: StepForm
) -> HttpResponse:
    now = timezone.now()
    found = invitation_by_letter(keeper, invitation_id, now)
    context = {
        "invitation": found,
        "hosting": found.host_id == keeper.pk,
        "signs_all": signs_all(found.host_id, now),
        "count": len(found.animals),
        "acceptance": acceptance,
    }
    return page(request, "visits/by_letter.html", context, status=acceptance.status)


@post_or_go("by_letter")
@signed_in
def answer_by_letter(
    request: HttpRequest, keeper: Keeper, invitation_id: UUID, what: str
) -> HttpResponse:
    now = timezone.now()
    found = invitation_by_letter(keeper, invitation_id, now)
    if found.host_id == keeper.pk:
        if what != "cancellation":
            raise Http404
        forget_invitation(found.pk)
    elif what == "refusal":
        decline_by_letter(found, now)
    elif what == "acceptance":
        return _take_up(request, keeper, found)
    else:
        raise Http404
    return redirect("visits")


def _take_up(request: HttpRequest, keeper: Keeper, invitation: InvitationByLetter) -> HttpResponse:
    form, actor = StepForm(ANSWERS["acceptance"], request.POST), actor_of(keeper)
    if not form.is_valid():
        return _by_letter_page(request, keeper, invitation.pk, form)

    def accept() -> None:
        if form.send(invitation.pk, actor) is None:
            raise NotAccepted

    try:
        if is_asking(request):
            accept()
        take_up(invitation, keeper, timezone.now(), accept)
    except HoldsNoLonger as refused:
        messages.warning(request, refused.detail)
        return redirect("visits")
    except NotAccepted:
        form.to_sign = None  # no device could state it: there is no visit yet
        return _by_letter_page(request, keeper, invitation.pk, form)
    return redirect("visit", invitation.pk)


class NotAccepted(Exception):
    """Its form says why."""


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
