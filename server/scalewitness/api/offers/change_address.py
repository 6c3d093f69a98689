"""Where a buyer's letters go."""

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.addresses import LettersAgain, NewAddress, readdressed
from scalewitness.api.offers.access import opened
from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.domain.errors import LinkGone, NotNow, OutOfRange


@operation(
    "Change my address",
    takes=NewAddress,
    gives={200: LettersAgain},
    refuses=(LinkGone, NotNow, OutOfRange),
    anonymous=True,
)
def change_address(request: Request, token: str) -> Response:
    """Letters that reached nobody go again. Whoever reads the address used until now is told."""
    sent, link = body_of(request, NewAddress), opened(token)
    return readdressed(link.sale, sent, None)
