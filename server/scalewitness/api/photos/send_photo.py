"""The file of a photo whose fact came before."""

from typing import Any
from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import actor_of
from scalewitness.api.operations import operation
from scalewitness.api.photos.file import Picture
from scalewitness.domain.errors import NotTheFile
from scalewitness.domain.pictures.plain import MEDIA_TYPE
from scalewitness.intake.rules.photos import take_photo_file


@operation(
    "Send the file of a photo",
    takes=Picture,
    takes_media=MEDIA_TYPE,
    gives={204: None},
    refuses=(NotTheFile,),
    throttle="photos",
)
def send_photo(request: Request, id: UUID) -> Response:
    """By whoever attached it, when it suits: the fact with its SHA-256 is in the log already.
    A JPEG file with nothing in it but the picture: what a camera adds, such as the place, is
    refused, so draw it anew first. Sending the same again is safe."""
    data: Any = request.data
    take_photo_file(id, data, actor_of(request), timezone.now())
    return Response(status=204)
