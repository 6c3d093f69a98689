"""Whether the buyer returned an animal."""

from typing import Literal

from django.urls import reverse
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.access import buyer_of, opened
from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.shapes.returns import Returns, returns
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, IdAndTime, begin
from scalewitness.domain.errors import LinkGone
from scalewitness.domain.facts import Id
from scalewitness.sales.queries.returns import returns_of


class BuyersWord(IdAndTime, frozen=True, kw_only=True):
    """``move``: which return, as listed here."""

    move: Id
    answer: Literal["confirmed", "denied"]
    note: str | None = None


@operation(
    "List what the seller says was returned",
    gives={200: Returns},
    refuses=(LinkGone,),
    anonymous=True,
)
def list_returns(request: Request, token: str) -> Response:
    """Of the sale, in log order, each with who else says so."""
    now = timezone.now()
    return Response(Returns(returns(returns_of(opened(token, None, now).sale, now))))


@operation(
    "Confirm or deny a return",
    takes=BuyersWord,
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, LinkGone),
    anonymous=True,
    keyed=True,
)
def answer_return(request: Request, token: str) -> Response:
    """Open for 14 days from the letter about it. Denied, the animal stays the buyer's, and no
    offer of it to anybody else is taken."""
    sent, link = body_of(request, BuyersWord), opened(token)
    return begin(request, sent, buyer_of(link.sale)).submit(
        "return_answered",
        link.sale_id,
        body={"move": sent.move, "answer": sent.answer},
        texts={} if sent.note is None else {"note": sent.note},
        flat=("body", "texts"),
        location=reverse("api:offer-returns", args=[token]),
    )
