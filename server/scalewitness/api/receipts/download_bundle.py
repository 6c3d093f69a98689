"""An animal's readable record as one signed file."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.domain.errors import Fenced, LogContradicted, NotAllowed, TooLarge
from scalewitness.domain.translog.bundle import MEDIA_TYPE, Bundle
from scalewitness.receipts.bundles import bundled


@operation(
    "Download an animal's record as one file",
    gives={200: Bundle},
    media=MEDIA_TYPE,
    refuses=(NotAllowed, TooLarge, Fenced, LogContradicted),
)
def download_bundle(request: Request, id: UUID) -> Response:
    """For whoever sees all of it now: every entry with its place in the signed log, what shows that
    these are all of them as of then, and the free texts I am shown. Checked without us by
    `scalewitness check-bundle`; another server takes it in as quoted evidence. There are no names
    in it. Who sees a part of the record gets none."""
    attached = f'attachment; filename="record-{id}.bundle"'
    return Response(
        bundled(keeper_of(request).pk, id, timezone.now()),
        headers={"Content-Disposition": attached},
        content_type=MEDIA_TYPE,
    )
