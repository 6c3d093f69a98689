"""What the buyer sees."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.access import opened
from scalewitness.api.operations import operation
from scalewitness.api.shapes.offers import OfferSeen, offer_seen
from scalewitness.domain.errors import LinkGone
from scalewitness.ledger.queries.entries import texts_of
from scalewitness.ledger.queries.tree import tip
from scalewitness.people.queries import partners_of


@operation(
    "Show an offer to its buyer",
    gives={200: OfferSeen},
    refuses=(LinkGone,),
    anonymous=True,
)
def show_offer(request: Request, token: str) -> Response:
    """The evidence in plain words, what was represented beside what the record says now,
    and the cautions. Examiners go by their part in the deal, not by name."""
    seen, now = max(tip().size - 1, 0), timezone.now()
    link = opened(token, "offer", now)
    sale, step = link.sale, link.sale.steps.get(pk=link.offer)
    partners = partners_of(sale.collection_id, now).values_list("pk", flat=True)
    shown = offer_seen(
        sale,
        step,
        seen=seen,
        note=texts_of([step.pk]).get((step.pk, "note")),
        sellers=frozenset({sale.collection.keeper_id, *partners}),
    )
    return Response(shown)
