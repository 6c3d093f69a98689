"""Visits: the writes. Intake calls those that store facts; an invitation by letter is none."""

from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from django.db.models import Q, QuerySet

from scalewitness.domain.facts import Body, VisitInvited
from scalewitness.domain.moments import parse_moment
from scalewitness.ledger.services.writing import Logged
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper
from scalewitness.people.queries import confirmed_emails, is_ended
from scalewitness.people.services import end_grant, store_guest_grant
from scalewitness.visits.models import InvitationByLetter, Visit, VisitAnimal, VisitStep

UNANSWERED: Final = timedelta(days=366)
"""How long an address that may be nobody's here is kept (our judgement: a season ahead)."""


def store_invitation(fact: Logged[VisitInvited]) -> Visit:
    body = fact.body
    visit = Visit.objects.create(
        id=fact.about,
        position=fact.position,
        collection_id=UUID(body.collection),
        host_id=fact.sender,
        guest_id=UUID(body.guest),
        opens=parse_moment(body.opens),
        closes=parse_moment(body.closes),
        blind=body.blind,
    )
    VisitAnimal.objects.bulk_create(
        VisitAnimal(visit=visit, animal_id=UUID(animal)) for animal in body.animals
    )
    return visit


def store_answer(visit: Visit, kind: str, fact: Logged[Body]) -> None:
    """The guest accepts (and is given sight of the animals) or declines."""
    _step(visit, kind, fact)
    if kind == "visit_accepted":
        store_guest_grant(
            visit=visit.pk,
            position=fact.position,
            collection=visit.collection_id,
            guest=visit.guest_id,
            animals=list(visit.animals.values_list("pk", flat=True)),
            blind=visit.blind,
            opens=visit.opens,
            closes=visit.closes,
        )


def store_cancellation(visit: Visit, fact: Logged[Body], *, accepted: bool) -> None:
    _step(visit, "visit_cancelled", fact)
    if accepted and not is_ended(visit.pk):
        end_grant(visit.pk, fact.position, fact.received_at)


def _step(visit: Visit, kind: str, fact: Logged[Body]) -> None:
    VisitStep.objects.create(
        id=fact.id, position=fact.position, visit=visit, kind=kind, at=fact.received_at
    )


def decline_by_letter(invitation: InvitationByLetter, now: datetime) -> None:
    invitation.declined_at = now
    invitation.save(update_fields=["declined_at"])


def forget_invitation(invitation: UUID) -> None:
    """Withdrawn by its host, or taken up and a visit from then on."""
    _forget(InvitationByLetter.objects.filter(pk=invitation))


def forget_invitations_of(keeper: Keeper) -> None:
    """Those they wrote, and those to an address of theirs."""
    theirs = Q(host=keeper) | Q(email__in=confirmed_emails(keeper.pk))
    _forget(InvitationByLetter.objects.filter(theirs))


def forget_past_invitations(now: datetime) -> int:
    """Those whose visit would be over, and those that nobody took up for a year, whatever year was
    typed; how many there were."""
    old = Q(closes__lte=now) | Q(invited_at__lte=now - UNANSWERED)
    return _forget(InvitationByLetter.objects.filter(old))


def _forget(invitations: QuerySet[InvitationByLetter]) -> int:
    """With their letters, sent or not: names and addresses stand there too."""
    gone = [str(one) for one in invitations.values_list("pk", flat=True)]
    Letter.objects.filter(kind="visit_by_letter", context__visit__in=gone).delete()
    return InvitationByLetter.objects.filter(pk__in=gone).delete()[0]
