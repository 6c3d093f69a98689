"""The buyer's side of a dispute."""

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.access import buyer_of, opened
from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, IdAndTime, begin
from scalewitness.domain.errors import LinkGone
from scalewitness.domain.facts import Id


class BuyersStatement(IdAndTime, frozen=True, kw_only=True):
    dispute: Id
    statement: str


@operation(
    "Make a statement as the buyer",
    takes=BuyersStatement,
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, LinkGone),
    anonymous=True,
    keyed=True,
)
def state_as_buyer(request: Request, token: str) -> Response:
    """In the dispute over this sale, until the finding; again if there is more to say."""
    sent, link = body_of(request, BuyersStatement), opened(token)
    return begin(request, sent, buyer_of(link.sale)).submit(
        "statement_made",
        sent.dispute,
        texts={"statement": sent.statement},
        flat=("texts",),
        location=reverse("api:offer", args=[token]),
    )
