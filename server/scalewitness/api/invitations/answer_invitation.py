"""The owner of the address accepts or declines; the host withdraws."""

from typing import Any
from uuid import UUID

from django.urls import reverse
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import actor_of, keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import body_of
from scalewitness.api.shapes.invitations import InvitationShown, invitation
from scalewitness.api.shapes.visits import VisitShown, visit
from scalewitness.api.submission import Signable
from scalewitness.domain.errors import BadSignature, KeyWaits, NotFound, NotNow, SignatureRequired
from scalewitness.domain.moments import rfc3339
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.invitations import take_up
from scalewitness.intake.services import accept_one
from scalewitness.people.models import Keeper
from scalewitness.visits.models import InvitationByLetter
from scalewitness.visits.queries import invitation_by_letter
from scalewitness.visits.services import decline_by_letter, forget_invitation


class InvitationAnswer(Signable, frozen=True, kw_only=True):
    """``id``, ``at`` and ``sig``: of the fact that one accepts, `visit_accepted` of the visit that
    has the invitation's id, with an empty body."""

    accepted: bool


@operation(
    "Answer an invitation by letter",
    takes=InvitationAnswer,
    gives={201: VisitShown, 200: InvitationShown},
    refuses=(NotFound, NotNow, SignatureRequired, KeyWaits, BadSignature),
)
def answer_invitation(request: Request, id: UUID) -> Response:
    """Accepted, it becomes the visit of the same id, with both facts in the log. Declined, its host
    reads that."""
    sent, keeper, now = body_of(request, InvitationAnswer), keeper_of(request), timezone.now()
    found = _answerable(keeper, id)
    if not sent.accepted:
        decline_by_letter(found, now)
        return Response(invitation(found, keeper))
    accepted: dict[str, Any] = {
        "id": sent.id or str(fresh_id(now)),
        "kind": "visit_accepted",
        "at": sent.at or rfc3339(now),
        "about": str(found.pk),
        "body": {},
        "sig": sent.sig,
    }
    made = take_up(found, keeper, now, lambda: accept_one(accepted, actor_of(request), now))
    where = reverse("api:visit", args=[made.pk])
    return Response(visit(made, now, host=False), 201, headers={"Location": where})


def _answerable(keeper: Keeper, id: UUID) -> InvitationByLetter:
    found = invitation_by_letter(keeper, id, timezone.now())
    if found.host_id == keeper.pk:
        raise NotFound()
    return found


@operation("Withdraw an invitation by letter", gives={204: None}, refuses=(NotFound,))
def withdraw_invitation(request: Request, id: UUID) -> Response:
    """By whoever wrote it, while nobody accepted it; the letter goes too if it has not left."""
    keeper = keeper_of(request)
    found = invitation_by_letter(keeper, id, timezone.now())
    if found.host_id != keeper.pk:
        raise NotFound()
    forget_invitation(found.pk)
    return Response(status=204)
