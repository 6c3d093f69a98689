"""Invitations by letter that one wrote, or may answer."""

from uuid import UUID

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.invitations import (
    Invitations,
    InvitationShown,
    invitation,
    invitations,
)
from scalewitness.domain.errors import NotFound
from scalewitness.visits.queries import invitation_by_letter, invitations_by_letter


@operation("List invitations by letter", gives={200: Invitations})
def list_invitations(request: Request) -> Response:
    """Those that you wrote and those to an address that you proved to be yours, newest first. One
    that was accepted is a visit."""
    keeper = keeper_of(request)
    return Response(invitations(invitations_by_letter(keeper, timezone.now()), keeper))


@operation("Show an invitation by letter", gives={200: InvitationShown}, refuses=(NotFound,))
def show_invitation(request: Request, id: UUID) -> Response:
    keeper = keeper_of(request)
    return Response(invitation(invitation_by_letter(keeper, id, timezone.now()), keeper))
