"""The file of a quote, to be checked by its reader."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.domain.errors import NotFound
from scalewitness.domain.translog.bundle import MEDIA_TYPE, Bundle
from scalewitness.quoted.queries import quoted_file
from scalewitness.receipts.queries import entry_seen


@operation("Download the file of a quote", gives={200: Bundle}, media=MEDIA_TYPE)
def show_quoted_file(request: Request, id: UUID) -> Response:
    """For whoever may read the quote: the other log's record as it was taken in, to be checked with
    a key of that log that you trust."""
    data = quoted_file(entry_seen(keeper_of(request).pk, id, timezone.now()).fact)
    if data is None:
        raise NotFound("The file has not arrived yet, or was deleted.")
    attached = f'attachment; filename="quoted-{id}.bundle"'
    return Response(data, headers={"Content-Disposition": attached}, content_type=MEDIA_TYPE)
