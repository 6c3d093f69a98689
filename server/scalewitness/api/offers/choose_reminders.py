"""Whether a buyer is reminded."""

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.offers.access import opened
from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of
from scalewitness.domain.errors import LinkGone
from scalewitness.sales.services import set_reminders


class Reminders(Sent, frozen=True, kw_only=True):
    wanted: bool


@operation(
    "Turn reminders on or off",
    takes=Reminders,
    gives={204: None},
    refuses=(LinkGone,),
    anonymous=True,
)
def choose_reminders(request: Request, token: str) -> Response:
    """Of disclosures not acknowledged yet. The disclosures themselves cannot be turned off."""
    sent, link = body_of(request, Reminders), opened(token)
    set_reminders(link.sale.buyer, wanted=sent.wanted)
    return Response(status=204)
