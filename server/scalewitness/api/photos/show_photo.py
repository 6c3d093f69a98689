"""A photo, to look at."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.photos.file import Picture, as_picture
from scalewitness.domain.errors import LogContradicted
from scalewitness.domain.pictures.plain import MEDIA_TYPE
from scalewitness.receipts.queries import entry_seen


@operation("Download a photo", gives={200: Picture}, media=MEDIA_TYPE, refuses=(LogContradicted,))
def show_photo(request: Request, id: UUID) -> Response:
    """For whoever attached it or may read the fact. Its SHA-256 is the one in the log."""
    return as_picture(entry_seen(keeper_of(request).pk, id, timezone.now()).fact)
