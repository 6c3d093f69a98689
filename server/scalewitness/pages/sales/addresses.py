"""Where a buyer's letters go, said by the buyer through their link or by the seller; and
whether they are reminded."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from scalewitness.domain.errors import NotNow
from scalewitness.letters.addresses import send_elsewhere
from scalewitness.pages.offers.offer import by_link
from scalewitness.pages.parts.access import page, post_or_go, signed_in
from scalewitness.pages.sales.forms import AddressForm
from scalewitness.pages.sales.sale import sale_seen
from scalewitness.people.models import Keeper
from scalewitness.sales.models import OfferLink
from scalewitness.sales.services import set_reminders


@by_link
def change_by_link(request: HttpRequest, token: str, link: OfferLink) -> HttpResponse:
    form = AddressForm(request.POST or None, initial={"email": link.sale.buyer.email})
    if form.is_valid():
        try:
            send_elsewhere(link.sale, form.cleaned_data["email"], timezone.now(), seller=None)
        except NotNow as refused:
            form.add_error("email", refused.detail)
        else:
            return redirect("offer", token)
    context = {"token": token, "sale": link.sale, "form": form}
    return page(request, "offers/address.html", context, status=422 if form.errors else 200)


@post_or_go("offer")
@by_link
def remind(request: HttpRequest, token: str, link: OfferLink) -> HttpResponse:
    set_reminders(link.sale.buyer, wanted=request.POST.get("wanted") == "yes")
    return redirect("offer", token)


@signed_in
def correct(request: HttpRequest, keeper: Keeper, sale_id: UUID) -> HttpResponse:
    sale = sale_seen(keeper, sale_id)
    form = AddressForm(request.POST or None)
    if form.is_valid():
        email = form.cleaned_data["email"]
        try:
            again = send_elsewhere(sale, email, timezone.now(), seller=keeper.pk)
        except NotNow as refused:
            form.add_error("email", refused.detail)
        else:
            messages.success(request, f"Letters go to {email} now. {_again(again)}".strip())
            return redirect("sale", sale.pk)
    context = {"sale": sale, "form": form}
    return page(request, "sales/address.html", context, status=422 if form.errors else 200)


def _again(number: int) -> str:
    if not number:
        return ""
    return "One letter goes again." if number == 1 else f"{number} letters go again."
