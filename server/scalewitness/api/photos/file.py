"""A photo's file as an answer."""

from typing import Annotated
from uuid import UUID

from msgspec import Meta
from rest_framework.response import Response

from scalewitness.animals.queries import photo_of
from scalewitness.animals.queries.photo_files import photo_file
from scalewitness.domain.errors import NotFound
from scalewitness.domain.pictures.plain import MEDIA_TYPE

Picture = Annotated[str, Meta(extra_json_schema={"format": "binary"})]


def as_picture(photo: UUID) -> Response:
    """Whoever asks may see the photo. Raises NotFound where there is no file."""
    found, data = photo_of(photo), photo_file(photo)
    if found is None or data is None:
        raise NotFound("The photo has not arrived yet, or was erased.")
    headers = {
        "Content-Disposition": f'inline; filename="photo-{photo}.jpg"',
        "ETag": f'"{found.sha256}"',
        "X-Content-Type-Options": "nosniff",
    }
    return Response(data, headers=headers, content_type=MEDIA_TYPE)
