"""What the buyer sees."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.queries.grants import partners_of
from scalewitness.api.offers.access import opened
from scalewitness.api.operations import operation
from scalewitness.api.shapes.offers import OfferSeen, offer_seen
from scalewitness.domain.errors import LinkGone
from scalewitness.ledger.queries.entries import texts_of
from scalewitness.ledger.queries.tree import tip
from scalewitness.sales.models import OfferLink, SaleStep
from scalewitness.sales.queries import offer_in_force


@operation(
    "Show an offer to its buyer",
    gives={200: OfferSeen},
    refuses=(LinkGone,),
    anonymous=True,
)
def show_offer(request: Request, token: str) -> Response:
    """The evidence in plain words, what was represented beside what the record says now,
    and the cautions. Examiners go by their part in the deal, not by name. The link that comes with
    the payment, or with a disclosure, shows what was bought: then and now, and of what was
    disclosed the reasons and calls."""
    seen, now = max(tip().size - 1, 0), timezone.now()
    link = opened(token, now=now)
    sale, step = link.sale, _offer_behind(link)
    partners = partners_of(sale.collection_id, now).values_list("pk", flat=True)
    shown = offer_seen(
        sale,
        step,
        seen=seen,
        note=texts_of([step.pk]).get((step.pk, "note")),
        sellers=frozenset({sale.collection.keeper_id, *partners}),
        lasting=link.purpose != "offer",
    )
    return Response(shown)


def _offer_behind(link: OfferLink) -> SaleStep:
    """The one a link was sent with; by a lasting one, what was bought."""
    if link.purpose == "offer":
        return link.sale.steps.get(pk=link.offer)
    offer = offer_in_force(link.sale)
    if offer is None:
        raise LinkGone()
    return offer
