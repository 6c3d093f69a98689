"""The buyer has read a disclosure."""

from uuid import UUID

from django.urls import reverse
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.access import buyer_of, opened
from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.submission import ANSWERS, FACT_REFUSALS, IdAndTime, PendingFact, begin
from scalewitness.disclosures.queries import disclosures_to_buyer
from scalewitness.domain.errors import LinkGone, NotNow
from scalewitness.domain.facts import Id
from scalewitness.sales.models import Sale


class BuyersAcknowledgement(IdAndTime, frozen=True, kw_only=True):
    """``disclosure``: which one; the newest still open when absent."""

    disclosure: Id | None = None


@operation(
    "Acknowledge a disclosure as its buyer",
    takes=BuyersAcknowledgement,
    gives=ANSWERS,
    refuses=(*FACT_REFUSALS, LinkGone),
    anonymous=True,
    keyed=True,
)
def acknowledge_disclosure(request: Request, token: str) -> Response:
    """Says that it was read; it accepts nothing and gives nothing up."""
    sent, link = body_of(request, BuyersAcknowledgement), opened(token, "disclosure")
    fact = begin(request, sent, buyer_of(link.sale))
    return fact.submit(
        "disclosure_acknowledged",
        sent.disclosure or _newest_open(fact, link.sale),
        location=reverse("api:offer-disclosures", args=[token]),
    )


def _newest_open(fact: PendingFact, sale: Sale) -> UUID:
    """The one meant when none is named; for a repeat, the one meant the first time."""
    if fact.earlier is not None and fact.earlier.about is not None:
        return fact.earlier.about
    for one in disclosures_to_buyer(sale.buyer_id):
        if not hasattr(one, "acknowledgement"):
            return one.pk
    raise NotNow("There is nothing left to acknowledge.")
