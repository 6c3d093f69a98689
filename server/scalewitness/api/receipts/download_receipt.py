"""The receipt of a fact."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.receipts.file import MEDIA_TYPE, as_file
from scalewitness.domain.errors import Fenced, LogContradicted
from scalewitness.receipts.queries import entry_seen


@operation(
    "Download a receipt", gives={200: str}, media=MEDIA_TYPE, refuses=(Fenced, LogContradicted)
)
def download_receipt(request: Request, id: UUID) -> Response:
    """For the fact's author and whoever may read it: the entry, its place in the log and a signed
    checkpoint (C2SP tlog-proof), checkable without us by `scalewitness verify`."""
    now = timezone.now()
    return as_file(entry_seen(keeper_of(request).pk, id, now), now)
