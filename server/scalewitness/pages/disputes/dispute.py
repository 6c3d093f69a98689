"""Disputes: the evidence in time order with who knew what, and the finding."""

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.text import capfirst

from scalewitness.animals.queries import is_steward, title_of
from scalewitness.calls.queries.visibility import reader_of
from scalewitness.disputes.models import Dispute
from scalewitness.disputes.queries.disputes import (
    Hanging,
    bought_in,
    dispute_for,
    disputes_seen,
    hanging_on,
    statements_in,
)
from scalewitness.disputes.queries.seats import may_state, part_for, part_in
from scalewitness.domain.errors import NotFound
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.examiners.settled import settled_behind
from scalewitness.ledger.queries.entries import entry_at, texts_of
from scalewitness.mail.services.links import link_token
from scalewitness.pages.animals.animal import stewarded_animal
from scalewitness.pages.animals.evidence import (
    by_name,
    late_in_words,
    lines_of,
    offered_to,
    weakest,
)
from scalewitness.pages.animals.settled import own_records
from scalewitness.pages.collections.travelling import compared_with_companions
from scalewitness.pages.disputes.finding import (
    REMEDIES,
    FindingAnswerForm,
    FindingForm,
    answer_form,
    asked_about,
    calls_by_role,
    offers,
    summary_if_settled,
)
from scalewitness.pages.disputes.lanes import TITLE, who_knew
from scalewitness.pages.disputes.letters import delivered, letters_over
from scalewitness.pages.disputes.sides import sides_of, undecided
from scalewitness.pages.home.titles import disputed
from scalewitness.pages.parts.access import actor_of, page, post_or_go, say_accepted, signed_in
from scalewitness.pages.parts.facts import FactForm, new_id, note
from scalewitness.pages.parts.listing import listed
from scalewitness.pages.plots.of_case import depths_of
from scalewitness.pages.plots.timeline import timeline
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import names_then
from scalewitness.sales.queries.arrivals import arrivals_of
from scalewitness.standings.queries.dossier import dossier

GROUNDS = {
    "contested_standing": "The record opened it: calls speak strongly for opposite sexes.",
    "party_objects": "A party objects to what the record says.",
}


class DisputeForm(FactForm):
    """A party objects to what the record says of an animal."""

    kind = "dispute_opened"
    dispute = forms.UUIDField(widget=forms.HiddenInput, initial=new_id)
    note = note("What do you object to, and why?")

    def __init__(self, *args: Any, animal: UUID, sale: UUID | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.animal, self.sale = animal, sale

    def body(self) -> dict[str, Any]:
        body = {"animal": str(self.animal), "ground": "party_objects"}
        return body | ({"sale": str(self.sale)} if self.sale else {})


class StatementForm(FactForm):
    """What a party has to say of it."""

    kind = "statement_made"
    statement = note("What is your statement?")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.auto_id = "say_%s"  # it stands beside another form
        self.fields["statement"].required = True


@signed_in
def show_disputes(request: HttpRequest, keeper: Keeper) -> HttpResponse:
    seen = disputes_seen(keeper.pk, timezone.now())
    hanging = hanging_on(one.animal_id for one, seat in seen if seat == "whole")
    seen.sort(key=lambda pair: _weight(pair[0], hanging), reverse=True)
    found = listed(request, seen)
    names = names_then((one.sale, one.animal) for one, seat in found if one.sale)
    rows = [
        {
            "dispute": one,
            "title": disputed(one, seat, names),
            "open": not hasattr(one, "finding"),
            "hangs": list(_hangs(hanging.get(one.animal_id, Hanging()))),
        }
        for one, seat in found
    ]
    return page(request, "disputes/disputes.html", {"rows": rows, "listed": found})


def _weight(dispute: Dispute, hanging: dict[UUID, Hanging]) -> tuple[bool, Hanging, int]:
    """Open ones first, then by what hangs on them, then the newest."""
    return (
        not hasattr(dispute, "finding"),
        hanging.get(dispute.animal_id, Hanging()),
        dispute.position,
    )


def _hangs(one: Hanging) -> Iterator[str]:
    """In words, without what there is none of."""
    words = (
        (one.waiting, "buyer waits", "buyers wait"),
        (one.relying, "buyer relies on it", "buyers rely on it"),
        (one.unacknowledged, "disclosure is not acknowledged", "disclosures are not acknowledged"),
        (one.pairings, "pairing is planned", "pairings are planned"),
        (one.young, "young on record", "young on record"),
    )
    for number, single, several in words:
        if number:
            yield f"{number} {single if number == 1 else several}"


@signed_in
def open_dispute(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    animal = stewarded_animal(keeper, animal_id)
    form = DisputeForm(request.POST or None, animal=animal.pk)
    if form.is_valid():
        dispute = form.cleaned_data["dispute"]
        if form.send(dispute, actor_of(keeper)) is not None:
            return redirect("dispute", dispute)
    context = {"id": animal.pk, "title": title_of(animal), "heading": "Open a dispute"}
    return page(request, "animals/fact.html", context, form)


def dispute_seen(keeper: Keeper, dispute_id: UUID) -> Dispute:
    """A dispute on an animal that the keeper may see whole.

    Raises:
        NotFound: not theirs to see, or there is none.
    """
    dispute, seat = dispute_for(keeper.pk, dispute_id, timezone.now())
    if seat != "whole":
        raise NotFound()
    return dispute


@signed_in
def show_dispute(request: HttpRequest, keeper: Keeper, dispute_id: UUID) -> HttpResponse:
    try:
        dispute, seat = dispute_for(keeper.pk, dispute_id, timezone.now())
    except NotFound:
        return _as_buyer(keeper, dispute_id)
    if seat == "seller":
        return _seller_page(request, dispute, keeper, StatementForm())
    return _dispute_page(request, keeper, dispute, None)


def _as_buyer(keeper: Keeper, dispute_id: UUID) -> HttpResponse:
    """To what their own link shows."""
    now = timezone.now()
    dispute, sale = bought_in(keeper.pk, dispute_id, now)
    link = sale.links.filter(purpose="disclosure", revoked_at=None, expires_at__gt=now).last()
    if link is None:
        raise NotFound()
    return redirect("report_problem", link_token(link.pk), dispute.animal_id)


def _seller_page(
    request: HttpRequest,
    dispute: Dispute,
    keeper: Keeper,
    statement: StatementForm,
    answering: FindingAnswerForm | None = None,
) -> HttpResponse:
    """Without the animal, which is not theirs to see any more, or what checks of it found, but
    for those that they are asked about."""
    shown = dispute_context(dispute)
    form = answering or answer_form(dispute, shown["summary"], keeper.pk)
    context = shown | {
        "title": disputed(dispute, "seller"),
        "statements": [one for one in shown["statements"] if one["who"] != "Another buyer"],
        "statement": statement,
        "answer_form": form,
        "asked_about": asked_about(form, calls_by_role(dispute)) if form else [],
    }
    return page(request, "disputes/as_seller.html", context, answering or statement)


@post_or_go("dispute")
@signed_in
def state(request: HttpRequest, keeper: Keeper, dispute_id: UUID) -> HttpResponse:
    dispute, seat = dispute_for(keeper.pk, dispute_id, timezone.now())
    form = StatementForm(request.POST)
    if form.is_valid():
        outcome = form.send(dispute.pk, actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome, "Your statement is on record at")
            return redirect("dispute", dispute.pk)
    if seat == "seller":
        return _seller_page(request, dispute, keeper, form)
    return _dispute_page(request, keeper, dispute, None, form)


@post_or_go("dispute")
@signed_in
def find(request: HttpRequest, keeper: Keeper, dispute_id: UUID) -> HttpResponse:
    dispute = dispute_seen(keeper, dispute_id)
    may = offers(dispute, keeper, by_name(dossier(dispute.animal)))
    form = FindingForm(request.POST, request.FILES, offers=may)
    if form.is_valid():
        outcome = form.send(dispute.pk, actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome, "The finding is on record at")
            return redirect("dispute", dispute.pk)
    return _dispute_page(request, keeper, dispute, form)


@post_or_go("dispute")
@signed_in
def answer(request: HttpRequest, keeper: Keeper, dispute_id: UUID) -> HttpResponse:
    dispute, seat = dispute_for(keeper.pk, dispute_id, timezone.now())
    form = answer_form(dispute, summary_if_settled(dispute), keeper.pk, request.POST)
    if form is None:
        raise NotFound()
    if form.is_valid():
        outcome = form.send(dispute.pk, actor_of(keeper))
        if outcome is not None:
            say_accepted(request, outcome, "Your answer is on record at")
            return redirect("dispute", dispute.pk)
    if seat == "seller":
        return _seller_page(request, dispute, keeper, StatementForm(), form)
    return _dispute_page(request, keeper, dispute, None, answering=form)


def _dispute_page(
    request: HttpRequest,
    keeper: Keeper,
    dispute: Dispute,
    form: FindingForm | None,
    statement: StatementForm | None = None,
    answering: FindingAnswerForm | None = None,
) -> HttpResponse:
    shown, now = shown_of(dispute, keeper), timezone.now()
    steward = is_steward(keeper.pk, dispute.animal.collection, now)
    is_open = shown["finding"] is None
    may = offers(dispute, keeper, shown["calls"]) if steward and is_open else None
    answer_too = answering or answer_form(dispute, shown["summary"], keeper.pk)
    strip = shown["who_knew"]
    context = shown | {
        "steward": steward,
        "mixed_up": compared_with_companions(dispute.animal, keeper) if steward else None,
        "sides": sides_of(shown["case"], shown["calls"]),
        "undecided": undecided(shown["calls"]),
        "lanes": timeline(strip.events, strip.events, now, strip.lanes, TITLE),
        "form": form or (FindingForm(offers=may) if may else None),
        "none_yet": may is not None and not may.may,
        "refused": form is not None,
        "statement": statement or StatementForm(),
        "may_state": is_open and may_state(dispute, keeper.pk, now),
        "answer_form": answer_too,
        "asked_about": asked_about(answer_too, shown["calls"]),
    }
    sent = form or statement or answering
    return page(request, "disputes/dispute.html", context, status=sent.status if sent else 200)


def shown_of(dispute: Dispute, keeper: Keeper) -> dict[str, Any]:
    """Everything there is to say of a dispute to somebody who may see the animal whole."""
    case, now = dossier(dispute.animal), timezone.now()
    reader = reader_of(keeper.pk, now)
    calls = sorted(by_name(case), key=lambda one: one.call.examined_at)
    letters, about = letters_over(dispute), dispute_context(dispute)
    return about | {
        "title": title_of(dispute.animal),
        "species": taxon(dispute.animal.species).common,
        "case": case,
        "depths": depths_of(case),
        "settled": own_records(settled_behind(case, reader), calls),
        "calls": offered_to(reader, dispute.animal, calls),
        "answer": lines_of(case, "answer"),
        "reasons": lines_of(case, "reason"),
        "cautions": lines_of(case, "caution"),
        "late": late_in_words(case.late),
        "weakest": weakest(case),
        "letters": delivered(letters),
        "who_knew": who_knew(
            dispute,
            calls,
            case.standings,
            letters,
            about["statements"],
            now,
            named=is_steward(keeper.pk, dispute.animal.collection, now),
        ),
    }


def dispute_context(dispute: Dispute) -> dict[str, Any]:
    """What it is about, what the parties say of it, and what was found."""
    finding = getattr(dispute, "finding", None)
    opened = entry_at(dispute.position)
    opening = opened.fact if opened else dispute.pk
    texts = texts_of([opening] + ([finding.pk] if finding else []))
    return {
        "dispute": dispute,
        "ground": GROUNDS[dispute.ground],
        "note": texts.get((opening, "note")),
        "opening": opening,
        "statements": statements_shown(dispute),
        "arrived": arrivals_of(dispute.sale, dispute.animal_id) if dispute.sale else [],
        "finding": finding,
        "summary": summary_if_settled(dispute),
        "remedy": dict(REMEDIES).get(finding.remedy) if finding else None,
        "reasons_text": texts.get((finding.pk, "reasons")) if finding else None,
    }


def statements_shown(dispute: Dispute, reader: Sale | None = None) -> list[dict[str, Any]]:
    """What the parties said, by their part in it. ``reader``: the sale whose buyer reads it, who
    is told what is for them."""
    statements = statements_in(dispute.pk)
    texts, now = texts_of(one.pk for one in statements), timezone.now()
    heard = (
        (one, part_for(reader, dispute, one.by, now) if reader else part_in(dispute, one.by))
        for one in statements
    )
    return [
        {
            "id": one.pk,
            "who": capfirst(part),
            "by": one.by,
            "at": one.at,
            "position": one.position,
            "text": texts.get((one.pk, "statement")),
        }
        for one, part in heard
        if part
    ]
