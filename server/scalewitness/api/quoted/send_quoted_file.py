"""The file of a quote whose fact came before."""

from typing import Any
from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import actor_of
from scalewitness.api.operations import operation
from scalewitness.domain.errors import NotTheFile
from scalewitness.domain.translog.bundle import MEDIA_TYPE, Bundle
from scalewitness.intake.rules.quoting import take_quoted_file


@operation(
    "Send the file of a quote",
    takes=Bundle,
    takes_media=MEDIA_TYPE,
    gives={204: None},
    refuses=(NotTheFile,),
    throttle="photos",
)
def send_quoted_file(request: Request, id: UUID) -> Response:
    """By whoever quoted it: the fact with its SHA-256 is in the log already. It is checked offline,
    as `scalewitness check-bundle` does; what does not hold is refused. Texts in it are dropped.
    Sending the same again is safe."""
    data: Any = request.data
    take_quoted_file(id, data, actor_of(request), timezone.now())
    return Response(status=204)
