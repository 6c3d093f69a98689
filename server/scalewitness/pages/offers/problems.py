"""A buyer reports that something is wrong with what they bought: a dispute, through their link."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from scalewitness.disputes.queries import open_dispute_on
from scalewitness.domain.cautions import AFTER_A_DISCLOSURE
from scalewitness.domain.errors import NotFound
from scalewitness.domain.sales import RELIED_ON
from scalewitness.pages.disputes.dispute import DisputeForm, StatementForm, statements_shown
from scalewitness.pages.home.attention import title_in
from scalewitness.pages.offers.offer import actor_by, by_link
from scalewitness.pages.parts.access import page
from scalewitness.pages.parts.facts import FactForm
from scalewitness.sales.models import OfferLink
from scalewitness.sales.queries import progress_of


@by_link
def report_problem(
    request: HttpRequest, token: str, link: OfferLink, animal_id: UUID
) -> HttpResponse:
    animal = link.sale.animals.filter(pk=animal_id).first()
    if animal is None or progress_of(link.sale).state not in RELIED_ON:
        raise NotFound()
    dispute = open_dispute_on(animal.pk)
    mine = dispute is not None and dispute.sale_id == link.sale_id
    form: FactForm = (
        StatementForm(request.POST or None)
        if mine
        else DisputeForm(request.POST or None, animal=animal.pk, sale=link.sale_id)
    )
    if form.is_valid():
        about = dispute.pk if dispute and mine else form.cleaned_data["dispute"]
        if form.send(about, actor_by(link)) is not None:
            return redirect("report_problem", token, animal.pk)
    statements = statements_shown(dispute) if dispute and mine else []
    buyer = {link.sale.buyer_id, link.sale.buyer.keeper_id}
    context = {
        "token": token,
        "title": title_in(link.sale, animal),
        "seller": link.sale.collection.keeper,
        "dispute": dispute,
        "mine": mine,
        "statements": [one for one in statements if one["by"] in buyer],
        "cautions": AFTER_A_DISCLOSURE,
    }
    return page(request, "offers/problem.html", context, form)
