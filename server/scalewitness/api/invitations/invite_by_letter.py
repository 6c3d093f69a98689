"""Inviting somebody by their address, whether or not they have an account."""

from uuid import UUID

from django.urls import reverse
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import Address, Sent, address, body_of
from scalewitness.api.shapes.invitations import InvitationShown, invitation
from scalewitness.api.shapes.visits import VisitShown, visit
from scalewitness.api.submission import as_sent
from scalewitness.domain.errors import (
    AddressUnconfirmed,
    IdReused,
    NotFound,
    NotNow,
    OutOfRange,
    Refused,
    WrongShape,
)
from scalewitness.domain.facts import Id, Moment
from scalewitness.intake import invitations
from scalewitness.visits.models import Visit


class NewInvitation(Sent, frozen=True, kw_only=True):
    """``id`` is the client's own, and will be the visit's. As `POST visits` takes it, but for whom
    it is."""

    id: Id
    email: Address
    collection: Id
    animals: tuple[Id, ...]
    opens: Moment
    closes: Moment
    blind: bool = True


@operation(
    "Invite by letter",
    takes=NewInvitation,
    gives={201: InvitationShown, 200: VisitShown},
    refuses=(WrongShape, OutOfRange, IdReused, NotFound, NotNow, AddressUnconfirmed),
    throttle="look_up",
)
def invite_by_letter(request: Request) -> Response:
    """The address gets a letter, and its owner finds the invitation on their account once they
    proved the address to be theirs. The answer is the same whoever's it is. Nothing is in the log
    before they accept. Sent again it writes no second letter; accepted meanwhile, it is the visit.
    A host writes to 20 addresses a day; an address gets three such letters a day from all hosts
    together and twelve in thirty days, and `letter` tells whether this was one of them."""
    sent, host, now = body_of(request, NewInvitation), keeper_of(request), timezone.now()
    body = {
        "collection": sent.collection,
        "animals": sent.animals,
        "opens": sent.opens,
        "closes": sent.closes,
        "blind": sent.blind,
    }
    email = address(sent.email, "/email")
    try:
        made = invitations.invite_by_letter(UUID(sent.id), email, body, host, now)
    except Refused as refused:
        raise as_sent(refused, ("body",)) from None
    if isinstance(made, Visit):
        return Response(visit(made, now, host=True), 200)
    where = reverse("api:invitation", args=[made.pk])
    return Response(invitation(made, host), 201, headers={"Location": where})
