"""Whether the snake that arrived is the one that was sold."""

from typing import Literal

from django.urls import reverse
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.access import buyer_of, opened
from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.shapes.arrivals import Arrivals, arrivals
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, IdAndTime, begin
from scalewitness.domain.errors import LinkGone
from scalewitness.domain.facts import Id
from scalewitness.sales.queries.arrivals import arrivals_of


class BuyersComparison(IdAndTime, frozen=True, kw_only=True):
    """``read``: the transponder read from it, 15 digits; ``photo``: the one of the offer that it
    was held against."""

    animal: Id
    answer: Literal["same", "another", "cannot_tell"]
    read: str | None = None
    photo: Id | None = None
    note: str | None = None


@operation(
    "List what the buyer said of what arrived",
    gives={200: Arrivals},
    refuses=(LinkGone,),
    anonymous=True,
)
def list_arrivals(request: Request, token: str) -> Response:
    """In log order; the last word on each animal counts."""
    return Response(Arrivals(arrivals(arrivals_of(opened(token, None, timezone.now()).sale))))


@operation(
    "Say whether the same snake arrived",
    takes=BuyersComparison,
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, LinkGone),
    anonymous=True,
    keyed=True,
)
def compare_arrival(request: Request, token: str) -> Response:
    """From the payment on. The seller and the buyer get a letter; nothing else changes. `same` is
    refused with a transponder that is not the animal's. Whoever thinks again says it anew. A buyer
    with an account can push the fact `arrival_compared` instead."""
    sent, link = body_of(request, BuyersComparison), opened(token)
    more = {"read": sent.read, "photo": sent.photo}
    return begin(request, sent, buyer_of(link.sale)).submit(
        "arrival_compared",
        link.sale_id,
        body={"animal": sent.animal, "answer": sent.answer}
        | {name: value for name, value in more.items() if value is not None},
        texts={} if sent.note is None else {"note": sent.note},
        flat=("body", "texts"),
        location=reverse("api:offer-arrivals", args=[token]),
    )
