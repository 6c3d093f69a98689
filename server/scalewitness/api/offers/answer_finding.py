"""Whether the buyer agrees to a finding."""

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.access import buyer_of, opened
from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, IdAndTime, begin
from scalewitness.domain.errors import LinkGone
from scalewitness.domain.facts import Id


class BuyersAnswer(IdAndTime, frozen=True, kw_only=True):
    """``set_aside``: as ``would_set_aside`` of the finding says, where the buyer agrees."""

    dispute: Id
    finding: Id
    agrees: bool
    set_aside: tuple[Id, ...] = ()


@operation(
    "Answer a finding as the buyer",
    takes=BuyersAnswer,
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, LinkGone),
    anonymous=True,
    keyed=True,
)
def answer_finding_as_buyer(request: Request, token: str) -> Response:
    """In the dispute over this sale. A no can still become a yes."""
    sent, link = body_of(request, BuyersAnswer), opened(token)
    body = {"finding": sent.finding, "agrees": sent.agrees}
    return begin(request, sent, buyer_of(link.sale)).submit(
        "finding_answered",
        sent.dispute,
        body=body | ({"set_aside": list(sent.set_aside)} if sent.set_aside else {}),
        flat=("body",),
        location=reverse("api:offer", args=[token]),
    )
