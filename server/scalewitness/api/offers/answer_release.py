"""Whether the buyer releases what they paid for."""

from typing import Literal

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.access import buyer_of, opened
from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, IdAndTime, begin
from scalewitness.domain.errors import LinkGone
from scalewitness.domain.facts import Id


class BuyersReleaseAnswer(IdAndTime, frozen=True, kw_only=True):
    """``asked``: as the offer shows it."""

    asked: Id
    answer: Literal["agreed", "denied"]
    note: str | None = None


@operation(
    "Agree to a release, or deny what the seller says",
    takes=BuyersReleaseAnswer,
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, LinkGone),
    anonymous=True,
    keyed=True,
)
def answer_release(request: Request, token: str) -> Response:
    """Agreed, the sale is over and the animals may be offered to others. Denied or unanswered, they
    stay the buyer's; who denied may still agree."""
    sent, link = body_of(request, BuyersReleaseAnswer), opened(token)
    return begin(request, sent, buyer_of(link.sale)).submit(
        f"release_{sent.answer}",
        link.sale_id,
        body={"asked": sent.asked},
        texts={} if sent.note is None else {"note": sent.note},
        flat=("body", "texts"),
        location=reverse("api:offer", args=[token]),
    )
