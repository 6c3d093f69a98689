"""A photo of an animal on offer, as the buyer."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.photos.file import Picture, as_picture
from scalewitness.domain.errors import LinkGone
from scalewitness.domain.pictures.plain import MEDIA_TYPE
from scalewitness.receipts.by_link import photo_shown
from scalewitness.sales.queries import link_behind


@operation(
    "Download a photo as the buyer",
    gives={200: Picture},
    media=MEDIA_TYPE,
    refuses=(LinkGone,),
    anonymous=True,
)
def show_offered_photo(request: Request, token: str, id: UUID) -> Response:
    """Of the animals on offer and of the calls on them."""
    return as_picture(photo_shown(link_behind(token, timezone.now()), id))
