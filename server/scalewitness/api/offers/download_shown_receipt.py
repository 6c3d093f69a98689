"""The receipt of a fact that the buyer was shown."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.receipts.file import MEDIA_TYPE, as_file
from scalewitness.domain.errors import Fenced, LinkGone, LogContradicted
from scalewitness.receipts.by_link import entry_shown
from scalewitness.sales.queries import link_behind


@operation(
    "Download a receipt as the buyer",
    gives={200: str},
    media=MEDIA_TYPE,
    refuses=(Fenced, LinkGone, LogContradicted),
    anonymous=True,
)
def download_shown_receipt(request: Request, token: str, id: UUID) -> Response:
    """Of what the link shows: the steps of the sale, the calls on its animals, the standings
    it was offered on, and disclosures by the links that came with them."""
    now = timezone.now()
    return as_file(entry_shown(link_behind(token, now), id), now)
