"""That the records which the buyer is shown are whole."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.domain.errors import Fenced, LinkGone, LogContradicted
from scalewitness.ledger.services.opening import stated_tree
from scalewitness.receipts.proofs import Proofs, proofs
from scalewitness.receipts.rested_on import rested_on
from scalewitness.receipts.whole import whole_by_link
from scalewitness.sales.queries import link_behind


@operation(
    "Prove to the buyer that records are whole",
    gives={200: Proofs},
    refuses=(Fenced, LinkGone, LogContradicted),
    anonymous=True,
)
def prove_shown_records(request: Request, token: str) -> Response:
    """Of the animals of the sale, of the sale itself and of what was disclosed of it: the entries
    that the link shows, how many there are besides, and what shows that these are all. Of what the
    standings rest on besides, what everybody may read."""
    now = timezone.now()
    link = link_behind(token, now)
    with stated_tree(now) as tree:
        animals, deal = whole_by_link(link, tree)
        beside = rested_on(None, animals, now)
        return Response(proofs(tree, animals, with_entries=True, deal=deal, standings=beside))
