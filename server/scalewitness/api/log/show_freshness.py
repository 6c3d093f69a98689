"""When the log last signed."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.domain.errors import Fenced, LogContradicted, NotFound
from scalewitness.ledger.services.opening import newest_tree
from scalewitness.receipts.proofs import Freshness, freshness


@operation(
    "Show when the log last signed",
    gives={200: Freshness},
    refuses=(Fenced, LogContradicted, NotFound),
    anonymous=True,
)
def show_freshness(request: Request) -> Response:
    """For everyone. The newest checkpoint, with the entry that its tree ends with: the record's
    own, about nobody, and with the time at which it was received."""
    return Response(freshness(newest_tree(timezone.now())))
