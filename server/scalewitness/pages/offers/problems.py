"""A buyer reports that something is wrong with what they bought: a dispute, through their link."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.animals.models import Animal
from scalewitness.disputes.queries.assent import summary_of
from scalewitness.disputes.queries.disputes import dispute_of
from scalewitness.disputes.queries.seats import disputes_over, open_to_buyer
from scalewitness.domain.cautions import AFTER_A_DISCLOSURE
from scalewitness.domain.errors import NotFound
from scalewitness.domain.sales import RELIED_ON
from scalewitness.pages.disputes.dispute import (
    DisputeForm,
    StatementForm,
    dispute_context,
    statements_shown,
)
from scalewitness.pages.disputes.finding import (
    FindingAnswerForm,
    answer_form,
    asked_about,
    calls_by_role,
    summary_if_settled,
)
from scalewitness.pages.home.titles import title_in
from scalewitness.pages.offers.offer import actor_by, by_link
from scalewitness.pages.parts.access import page, post_or_go
from scalewitness.pages.parts.facts import FactForm
from scalewitness.sales.models import OfferLink
from scalewitness.sales.queries import progress_of
from scalewitness.sales.queries.arrivals import last_arrivals


@by_link
def report_problem(
    request: HttpRequest, token: str, link: OfferLink, animal_id: UUID
) -> HttpResponse:
    animal = link.sale.animals.filter(pk=animal_id).first()
    if animal is None or progress_of(link.sale).state not in RELIED_ON:
        raise NotFound()
    dispute = open_to_buyer(link.sale, animal, timezone.now())
    sent = request.POST or None
    form: FactForm = (
        StatementForm(sent) if dispute else DisputeForm(sent, animal=animal.pk, sale=link.sale_id)
    )
    if form.is_valid():
        about = dispute.pk if dispute else form.cleaned_data["dispute"]
        if form.send(about, actor_by(link)) is not None:
            return redirect("report_problem", token, animal.pk)
    return _problem_page(request, token, link, animal, form)


@post_or_go("offer")
@by_link
def answer_finding(
    request: HttpRequest, token: str, link: OfferLink, dispute_id: UUID
) -> HttpResponse:
    dispute = dispute_of(dispute_id)
    mine = dispute is not None and dispute.sale_id == link.sale_id
    summary = summary_if_settled(dispute) if dispute and mine else None
    form = answer_form(dispute, summary, None, request.POST, by_link=True) if dispute else None
    if dispute is None or form is None:
        raise NotFound()
    if form.is_valid() and form.send(dispute.pk, actor_by(link)) is not None:
        return redirect("report_problem", token, dispute.animal_id)
    again = DisputeForm(animal=dispute.animal_id, sale=link.sale_id)
    return _problem_page(request, token, link, dispute.animal, again, form)


def _problem_page(
    request: HttpRequest,
    token: str,
    link: OfferLink,
    animal: Animal,
    form: FactForm,
    answering: FindingAnswerForm | None = None,
) -> HttpResponse:
    dispute = open_to_buyer(link.sale, animal, timezone.now())
    settled = _settled(link, animal, answering)
    shown = dispute or settled.get("settled")
    context = settled | {
        "token": token,
        "animal_id": animal.pk,
        "title": title_in(link.sale, animal),
        "seller": link.sale.collection.keeper,
        "dispute": dispute,
        "statements": statements_shown(shown, link.sale) if shown else [],
        "cautions": AFTER_A_DISCLOSURE,
        "arrived": last_arrivals(link.sale).get(animal.pk),
    }
    status = answering.status if answering else form.status
    return page(request, "offers/problem.html", context | {"form": form}, status=status)


def _settled(
    link: OfferLink, animal: Animal, answering: FindingAnswerForm | None
) -> dict[str, Any]:
    """The last finding over this purchase, with what its buyer may say to it."""
    over = disputes_over(link.sale, animal, timezone.now())
    settled = next((one for one in over if hasattr(one, "finding")), None)
    if settled is None:
        return {}
    shown = dispute_context(settled)
    own, summary = settled.sale_id == link.sale_id, shown["summary"]
    form = answering or (answer_form(settled, summary, None, by_link=True) if own else None)
    return {
        **{name: shown[name] for name in ("finding", "remedy", "reasons_text")},
        "settled": settled,
        "summary": summary if own else summary_of(settled, settled.finding, link.sale),
        "answer_form": form,
        "asked_about": asked_about(form, calls_by_role(settled)) if form else [],
    }
