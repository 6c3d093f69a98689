"""The buyer's other steps, which differ in nothing but their kind."""

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.access import buyer_of, opened
from scalewitness.api.reading import body_of
from scalewitness.api.submission import IdAndTime, begin


class BuyersStep(IdAndTime, frozen=True, kw_only=True):
    """``note``: in the buyer's own words, if they like."""

    note: str | None = None


def take_step(request: Request, kind: str, token: str) -> Response:
    """Hand on a step of the sale the link opens."""
    sent, link = body_of(request, BuyersStep), opened(token, "offer")
    return begin(request, sent, buyer_of(link.sale)).submit(
        kind,
        link.sale_id,
        texts={} if sent.note is None else {"note": sent.note},
        flat=("body", "texts"),
        location=reverse("api:offer", args=[token]),
    )
