"""Where whoever reports says that a practitioner can be asked."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.addresses import NewAddress
from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import address, body_of
from scalewitness.domain.errors import NotFound, OutOfRange
from scalewitness.fresh_ids import fresh_id
from scalewitness.people.queries import practitioner_of
from scalewitness.people.services import enter_address


@operation(
    "Say where a practitioner is to be asked",
    takes=NewAddress,
    gives={204: None},
    refuses=(NotFound, OutOfRange),
)
def give_address(request: Request, id: UUID) -> Response:
    """For whoever named them. An account with that address is shown what was reported in its
    name; its answer is recorded and stays your word, until the operator has looked the address
    up. Nothing is sent there."""
    sent, keeper, found = body_of(request, NewAddress), keeper_of(request), practitioner_of(id)
    if found is None or found.named_by_id != keeper.pk:
        raise NotFound()
    now = timezone.now()
    enter_address(found, address(sent.email, "/email"), fresh_id(now), now, by=keeper)
    return Response(status=204)
