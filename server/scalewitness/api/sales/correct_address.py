"""A buyer's address that does not work."""

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.addresses import LettersAgain, NewAddress, readdressed
from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.sales.access import own_sale
from scalewitness.domain.errors import NotFound, NotNow, OutOfRange


@operation(
    "Correct a buyer's address",
    takes=NewAddress,
    gives={200: LettersAgain},
    refuses=(NotFound, NotNow, OutOfRange),
)
def correct_address(request: Request, id: UUID) -> Response:
    """Before the first offer, or once letters came back from it: an address that works is the
    buyer's own to change."""
    sent, sale = body_of(request, NewAddress), own_sale(request, id)
    return readdressed(sale, sent, keeper_of(request).pk)
