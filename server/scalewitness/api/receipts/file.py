"""A receipt as a file to keep."""

from datetime import datetime

from rest_framework.response import Response

from scalewitness.ledger.models import Entry
from scalewitness.ledger.services.receipting import receipt_of

MEDIA_TYPE = "text/plain; charset=utf-8"


def as_file(entry: Entry, now: datetime) -> Response:
    """Raises LogContradicted or Fenced where the log cannot vouch for the entry."""
    receipt = receipt_of(entry, now)
    attached = f'attachment; filename="{receipt.file_name}"'
    return Response(
        str(receipt).encode(),
        headers={"Content-Disposition": attached},
        content_type=MEDIA_TYPE,
    )
