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
from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute, Finding
from scalewitness.disputes.queries.disputes import (
    Hanging,
    bought_in,
    dispute_for,
    disputes_seen,
    hanging_on,
    statements_in,
)
from scalewitness.disputes.queries.seats import part_for, part_in
from scalewitness.domain.errors import NotFound
from scalewitness.examiners.settled import settled_behind
from scalewitness.ledger.queries.entries import entry_at, texts_of
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import letters_for
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
from scalewitness.pages.disclosures.disclosure import DELIVERY
from scalewitness.pages.disputes.finding import (
    REMEDIES,
    FindingAnswerForm,
    FindingForm,
    answer_form,
    arbiters,
    asked_about,
    calls_by_role,
    summary_if_settled,
)
from scalewitness.pages.home.titles import disputed
from scalewitness.pages.parts.access import actor_of, page, post_or_go, say_accepted, signed_in
from scalewitness.pages.parts.facts import FactForm, new_id, note
from scalewitness.pages.parts.listing import listed
from scalewitness.pages.plots.of_case import depths_of
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale, SaleStep
from scalewitness.sales.queries import names_then
from scalewitness.standings.queries.dossier import dossier

GROUNDS = {
    "contested_standing": "The record opened it: calls speak strongly for opposite sexes.",
    "party_objects": "A party objects to what the record says.",
}
LETTERS = {
    "disclosure": "Disclosure to a buyer",
    "dispute_opened": "Dispute opened, to a keeper",
    "finding": "The finding, to the buyer",
    "finding_keeper": "The finding, to a keeper",
    "dispute_opened_buyer": "Dispute opened, to a buyer",
    "statement_made_buyer": "Statement in a dispute, to a buyer",
    "statement_made": "Statement in a dispute, to a keeper",
    "report_answered": "Answer to a report, to a keeper",
    "report_answered_buyer": "Answer to a report, to a buyer",
    "photos_compared": "Photos compared, to a keeper",
    "photos_compared_buyer": "Photos compared, to a buyer",
    "recheck_asked": "Contrary call that waits, to a keeper",
    "sale_held": "Hold of a sale, to the buyer",
    "sale_held_seller": "Hold of a sale, to the seller",
    "standing_notice": "Change of standing to a keeper",
    "pairing_affected": "Planned pairing affected, to a keeper",
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
    calls = by_name(dossier(dispute.animal))
    named = arbiters(dispute, keeper)
    form = FindingForm(request.POST, request.FILES, calls=calls, arbiters=named)
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
    shown = shown_of(dispute, keeper)
    calls = shown["calls"]
    steward = is_steward(keeper.pk, dispute.animal.collection, timezone.now())
    answer_too = answering or answer_form(dispute, shown["summary"], keeper.pk)
    context = shown | {
        "steward": steward,
        "mixed_up": compared_with_companions(dispute.animal, keeper) if steward else None,
        "form": form or FindingForm(calls=calls, arbiters=arbiters(dispute, keeper)),
        "statement": statement or StatementForm(),
        "answer_form": answer_too,
        "asked_about": asked_about(answer_too, calls),
    }
    sent = form or statement or answering
    return page(request, "disputes/dispute.html", context, status=sent.status if sent else 200)


def shown_of(dispute: Dispute, keeper: Keeper) -> dict[str, Any]:
    """Everything there is to say of a dispute to somebody who may see the animal whole."""
    case = dossier(dispute.animal)
    calls = by_name(case)
    return dispute_context(dispute) | {
        "title": title_of(dispute.animal),
        "case": case,
        "depths": depths_of(case),
        "settled": own_records(settled_behind(case, keeper.pk, timezone.now()), calls),
        "calls": sorted(
            offered_to(keeper.pk, calls, timezone.now()), key=lambda one: one.call.examined_at
        ),
        "answer": lines_of(case, "answer"),
        "reasons": lines_of(case, "reason"),
        "cautions": lines_of(case, "caution"),
        "late": late_in_words(case.late),
        "weakest": weakest(case),
        "letters": _letters(dispute),
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


def _letters(dispute: Dispute) -> list[dict[str, Any]]:
    """Every letter owed over this matter, by role and state; no address is shown."""
    animal = dispute.animal
    owed = Disclosure.objects.filter(animal=animal)
    holds = SaleStep.objects.filter(kind="sale_held", body__animal=str(animal.pk))
    finding: Finding | None = getattr(dispute, "finding", None)
    answers = finding.answers.values_list("pk", flat=True) if finding else ()
    causes = {
        dispute.pk,
        *([finding.pk] if finding else []),
        *answers,
        *dispute.statements.values_list("pk", flat=True),
        *owed.values_list("pk", flat=True),
        *animal.standings.values_list("pk", flat=True),
        *holds.values_list("pk", flat=True),
    }
    found = [letter for some in letters_for(causes).values() for letter in some]
    return [_letter(one) for one in sorted(found, key=lambda one: one.created_at)]


def _letter(letter: Letter) -> dict[str, Any]:
    return {
        "what": LETTERS.get(letter.kind, letter.kind.replace("_", " ")),
        "state": DELIVERY[letter.state],
        "failed": letter.undelivered,
        "at": letter.sent_at or letter.created_at,
    }
