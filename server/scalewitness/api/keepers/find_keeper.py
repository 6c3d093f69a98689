"""Finding another keeper, to give them a grant or invite them."""

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import check_confirmed
from scalewitness.api.operations import operation
from scalewitness.api.parameters import Email
from scalewitness.api.shapes.people import Person, person
from scalewitness.domain.errors import AddressUnconfirmed, NotFound
from scalewitness.people.queries import verified_keeper

EMAIL = Email("email", "The whole address, as its owner verified it.")


@operation(
    "Find a keeper by verified address",
    gives={200: Person},
    query=(EMAIL,),
    refuses=(NotFound, AddressUnconfirmed),
    throttle="look_up",
)
def find_keeper(request: Request) -> Response:
    """There is no list of keepers: one must know the address."""
    check_confirmed(request)
    found = verified_keeper(EMAIL.read(request))
    if found is None:
        raise NotFound("No keeper has verified this address.")
    return Response(person(found))
