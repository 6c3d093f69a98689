"""Invitations by letter: what one says enters the log once the address's owner takes it up.

Until then an address with an account and one without leave the same traces, none of them in the
log, so that nobody finds out by inviting who has an account.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from django.db import transaction

from scalewitness.domain.errors import (
    AddressUnconfirmed,
    IdReused,
    NotFound,
    NotNow,
    Refused,
    SignatureRequired,
)
from scalewitness.domain.facts import VisitInvited
from scalewitness.domain.moments import parse_moment, rfc3339
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.batch import Actor
from scalewitness.intake.ranges import check_ranges
from scalewitness.intake.rules.visits import check_sheet, hosted
from scalewitness.intake.services import accept_one
from scalewitness.intake.submission import shaped
from scalewitness.letters.visits import write_to_address
from scalewitness.people.models import Keeper
from scalewitness.people.queries import has_verified_address
from scalewitness.people.queries.own_word import ruled
from scalewitness.rate_limit import one_too_many
from scalewitness.visits.models import InvitationByLetter, Visit
from scalewitness.visits.queries import visit_of
from scalewitness.visits.services import forget_invitation

HOST_SIGNS: Final = (
    "You ruled that nothing counts in your name but what a device of yours signed. An invitation "
    "by letter enters the log once its guest is known, and none of yours is there to sign it "
    "then: invite somebody by name."
)
MOST_A_DAY: Final = 20
"""Letters to addresses that a keeper may have sent (our judgement: a club's evening, no list)."""


def invite_by_letter(
    id: UUID, email: str, body: Mapping[str, Any], host: Keeper, now: datetime
) -> InvitationByLetter | Visit:
    """``body``: of the invitation, but for its guest. The same again writes no second letter, and
    gives the visit where it was accepted meanwhile.

    Raises:
        Refused: as stating it would be, but for what hangs on whose address it is.
        SignatureRequired: the host's word takes a signature, and nobody could give it later.
        IdReused: another invitation has this id.
    """
    wanted = shaped({**body, "guest": str(host.pk)}, VisitInvited, "/body")
    check_ranges(wanted, now)
    if not has_verified_address(host):
        raise AddressUnconfirmed()
    if signs_all(host.pk, now):
        raise SignatureRequired(HOST_SIGNS)
    collection = hosted(UUID(wanted.collection), host.pk, now)
    check_sheet(collection, wanted)
    written = {
        "collection": collection,
        "host": host,
        "email": email.lower(),
        "animals": list(wanted.animals),
        "opens": parse_moment(wanted.opens),
        "closes": parse_moment(wanted.closes),
        "blind": wanted.blind,
    }
    before = InvitationByLetter.objects.filter(pk=id).first() or visit_of(id)
    if before is not None:
        return _as_before(before, written)
    if one_too_many(f"invitations:{host.pk}", MOST_A_DAY, 86400):
        raise NotNow(f"You invited {MOST_A_DAY} people by letter today: the next ones tomorrow.")
    with transaction.atomic():  # sent twice at once, it is one
        made, is_new = InvitationByLetter.objects.get_or_create(
            id=id, defaults={**written, "invited_at": now}
        )
        if is_new and not write_to_address(made, now):
            made.letter_owed = False
            made.save(update_fields=["letter_owed"])
    return made


def _as_before(
    before: InvitationByLetter | Visit, written: Mapping[str, Any]
) -> InvitationByLetter | Visit:
    """What has this id already, if it is this."""
    if before.host_id != written["host"].pk:
        raise NotFound()
    same = isinstance(before, Visit) or all(
        getattr(before, name) == value for name, value in written.items()
    )
    if not same:
        raise IdReused("Another invitation has this id. Invite them anew, under one of its own.")
    return before


def signs_all(host: UUID, now: datetime) -> bool:
    """Whether nothing that they invite to by letter can be taken up, by a rule of theirs."""
    return ruled(host, now).required


class HoldsNoLonger(NotNow):
    """Why is between the host and the record."""

    def __init__(self) -> None:
        super().__init__("This invitation holds no longer. Ask whoever invited you.")


def take_up(
    invitation: InvitationByLetter, guest: Keeper, now: datetime, accept: Callable[[], object]
) -> Visit:
    """State what the host wrote, and have the guest ``accept`` it; both or neither. The visit that
    it is from then on.

    Raises:
        HoldsNoLonger: the host could not invite them any more.
        Refused: as ``accept``.
    """
    body = {
        "collection": str(invitation.collection_id),
        "guest": str(guest.pk),
        "animals": invitation.animals,
        "opens": rfc3339(invitation.opens),
        "closes": rfc3339(invitation.closes),
        "blind": invitation.blind,
    }
    invited = {
        "id": str(fresh_id(now)),
        "kind": "visit_invited",
        "at": rfc3339(invitation.invited_at),
        "about": str(invitation.pk),
        "body": body,
        "texts": {},
    }
    with transaction.atomic():
        try:
            accept_one(invited, Actor(keeper=invitation.host_id), now)
        except Refused:
            raise HoldsNoLonger() from None
        accept()
        forget_invitation(invitation.pk)
    return Visit.objects.get(pk=invitation.pk)
