"""A buyer releases what they paid for, or denies what its seller says, through their link."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from scalewitness.pages.offers.offer import actor_by, by_link
from scalewitness.pages.parts.access import page, post_or_go
from scalewitness.pages.sales.forms import ReleaseAnswerForm
from scalewitness.sales.models import OfferLink


@post_or_go("offer")
@by_link
def answer(request: HttpRequest, token: str, link: OfferLink) -> HttpResponse:
    form = ReleaseAnswerForm(request.POST)
    if form.is_valid() and form.send(link.sale_id, actor_by(link)) is not None:
        return redirect("offer", token)
    return page(request, "offers/return.html", {"token": token}, form)
