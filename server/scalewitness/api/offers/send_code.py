"""The code that some sellers ask for with the confirmation."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.access import opened
from scalewitness.api.operations import operation
from scalewitness.domain.errors import LinkGone, NotFound, NotNow
from scalewitness.letters import codes


@operation(
    "Have a code sent",
    gives={204: None},
    refuses=(LinkGone, NotFound, NotNow),
    anonymous=True,
)
def send_code(request: Request, token: str) -> Response:
    """By letter to the buyer, whoever asks. A newer code makes those before it useless."""
    codes.send_code(opened(token, "offer").sale, timezone.now())
    return Response(status=204)
