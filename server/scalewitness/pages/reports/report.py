"""What was said in somebody's name, and whether they say it was them: with an account, or by the
link in a letter; and how others confirm a call that is its sender's word."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import msgspec
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals.queries import title_of
from scalewitness.calls.models import Call
from scalewitness.calls.queries.made import call_of
from scalewitness.calls.queries.reports import (
    last_answer,
    report_of,
    reported,
    reported_of,
    stated_by,
)
from scalewitness.calls.queries.visibility import animal_open, young_seen
from scalewitness.domain.errors import NotFound
from scalewitness.domain.facts import CallMade
from scalewitness.domain.methods import METHODS
from scalewitness.domain.reports import is_of_clutch
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.domain.sexing.words import found_in_words
from scalewitness.intake.batch import Actor
from scalewitness.pages.calls.call import WithdrawalForm
from scalewitness.pages.calls.forms import one_of
from scalewitness.pages.offers.offer import opened_by
from scalewitness.pages.parts.access import actor_of, page, say_accepted, signed_in
from scalewitness.pages.parts.facts import FactForm, note
from scalewitness.pages.parts.picking import choices_of, picked
from scalewitness.pages.parts.picks import PickOne, Picks
from scalewitness.people.models import Keeper, PractitionerLink
from scalewitness.people.queries import (
    names_of,
    practitioner_link_behind,
    verified_keeper,
)
from scalewitness.sales.queries.practices import answers_that_count

ANSWERED = {"confirmed": "You said that you made it.", "denied": "You said that you did not."}


class ReportForm(WithdrawalForm):
    kind = "report_answered"
    answer = one_of(
        "Did you make this check?",
        (("confirmed", "Yes, as it stands here"), ("denied", "No, or not like this")),
    )
    note = note("Anything to add? Those who see the animal read it")
    field_order = ("answer", "note")

    def body(self) -> dict[str, Any]:
        return {**super().body(), "answer": self.cleaned_data["answer"]}


class BesideForm(FactForm):
    """A statement that a button says."""

    def __init__(self, *args: Any, call: Call, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.call = call

    def body(self) -> dict[str, Any]:
        return {"call": str(self.call.pk)}


class WitnessForm(Picks, BesideForm):
    """``registered``: whether there are young that whoever states it may see."""

    kind = "witness_stated"
    young = PickOne(
        label="What did you see?", required=False, nothing="The eggs, slugs or young with it"
    )

    def __init__(self, *args: Any, registered: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not registered:
            del self.fields["young"]

    def body(self) -> dict[str, Any]:
        young = self.cleaned_data.get("young")
        return {**super().body(), **({"young": young} if young else {})}


class NoWitnessForm(BesideForm):
    kind = "witness_withdrawn"
    note = note("Why you withdraw it")


class DocumentForm(BesideForm):
    kind = "document_read"

    def body(self) -> dict[str, Any]:
        return {**super().body(), "document": self.call.body["document"]}


@dataclass(frozen=True, slots=True)
class ReportInWords:
    call: Call
    species: str
    method: str
    seen: str
    code: str | None
    sender: str
    answered: str
    proved: bool
    """Whether the answer is more than the sender's word."""


def _in_words(calls: Iterable[Call], keeper: UUID | None = None) -> list[ReportInWords]:
    """``keeper``: the account that would answer; None: by their link."""
    listed = list(calls)
    names = names_of(call.by for call in listed)
    counts = answers_that_count(listed, keeper)
    return [_one(call, names, proved=call.pk in counts) for call in listed]


def _one(call: Call, names: dict[UUID, str], *, proved: bool) -> ReportInWords:
    body, answer = msgspec.convert(call.body, CallMade), last_answer(call)
    return ReportInWords(
        call=call,
        species=taxon(call.animal.species).common,
        method=METHODS[call.method].name,
        seen=f"{found_in_words(body.observed)}; concluded {body.conclusion}.",
        code=body.identified.code,
        sender=names.get(call.by, "unknown"),
        answered=ANSWERED.get(answer.answer or "", "") if answer else "",
        proved=proved,
    )


# --- with an account ------------------------------------------------------------------------


@signed_in
def show_reports(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    found = _in_words(reported_of(keeper.pk, timezone.now()), keeper.pk)
    return page(request, "reports/reports.html", {"reports": found, "base": "base.html"})


@signed_in
def answer_report(request: HttpRequest, keeper: Keeper, call_id: UUID) -> HttpResponse:
    call = _among(reported_of(keeper.pk, timezone.now()), call_id)
    form = ReportForm(request.POST or None, call=call.pk)
    if form.is_valid():
        outcome = form.send(call.animal_id, actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome)
            return redirect("reports")
    (shown,) = _in_words([call], keeper.pk)
    return page(request, "reports/answer.html", {"shown": shown, "base": "base.html"}, form)


# --- by the link in a letter ----------------------------------------------------------------


@opened_by(practitioner_link_behind)
def show_by_link(request: HttpRequest, token: str, link: PractitionerLink) -> HttpResponse:
    found = _in_words(_behind(link))
    context = {"reports": found, "token": token, "base": "offers/base.html"}
    return page(request, "reports/reports.html", context)


@opened_by(practitioner_link_behind)
def answer_by_link(
    request: HttpRequest, token: str, link: PractitionerLink, call_id: UUID
) -> HttpResponse:
    call = _among(_behind(link), call_id)
    form = ReportForm(request.POST or None, call=call.pk)
    actor = Actor(practitioner=link.address.practitioner_id)
    if form.is_valid() and form.send(call.animal_id, actor) is not None:
        return redirect("reports_by_link", token)
    (shown,) = _in_words([call])
    context = {"shown": shown, "token": token, "base": "offers/base.html"}
    return page(request, "reports/answer.html", context, form)


def _behind(link: PractitionerLink) -> list[Call]:
    """What was said in their name; where the address is a keeper's, as that keeper may see it."""
    account = verified_keeper(link.address.email)
    reader = account.pk if account else None
    return reported([link.address.practitioner_id], reader, timezone.now())


def _among(calls: Iterable[Call], call: UUID) -> Call:
    found = next((one for one in calls if one.pk == call), None)
    if found is None:
        raise NotFound()
    return found


# --- confirming another's call --------------------------------------------------------------


@signed_in
def read_document(request: HttpRequest, keeper: Keeper, call_id: UUID) -> HttpResponse:
    call = _seen(keeper, call_id)
    if not call.body.get("document"):
        raise NotFound()
    form = DocumentForm(request.POST or None, call=call)
    return _confirming(request, keeper, call, form, "You read its report")


@signed_in
def state_witness(request: HttpRequest, keeper: Keeper, call_id: UUID) -> HttpResponse:
    call = _seen(keeper, call_id)
    if call.method != "reproduction":
        raise NotFound()
    registered = young_seen(keeper.pk, call.animal_id, timezone.now())
    seen = {
        one.pk: f"{title_of(one)}, registered as its young"
        for one in registered
        if is_of_clutch(one.hatched, call.examined_at.date())
    }
    young = {"young": choices_of(seen)}
    form = picked(request, WitnessForm, young, call=call, registered=bool(seen))
    return _confirming(request, keeper, call, form, "You saw them too")


@signed_in
def withdraw_witness(request: HttpRequest, keeper: Keeper, call_id: UUID) -> HttpResponse:
    call = _seen(keeper, call_id)
    if not stated_by(call, keeper.pk):
        raise NotFound()
    form = NoWitnessForm(request.POST or None, call=call)
    return _confirming(request, keeper, call, form, "Withdraw what you stated")


def _seen(keeper: Keeper, call_id: UUID) -> Call:
    call = call_of(call_id)
    if call is None:
        raise NotFound()
    animal_open(keeper.pk, call.animal_id, timezone.now())
    return call


def _confirming(
    request: HttpRequest, keeper: Keeper, call: Call, form: FactForm, heading: str
) -> HttpResponse:
    if form.is_valid():
        outcome = form.send(call.animal_id, actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome)
            return redirect("animal", call.animal_id)
    context = {"call": call, "method": METHODS[call.method].name, "heading": heading}
    context |= {"document": call.body.get("document"), "report": report_of(call)}
    return page(request, "reports/confirming.html", context, form)
