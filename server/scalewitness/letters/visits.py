"""Letters about visits."""

from datetime import datetime
from typing import Final

from scalewitness.letters.accounts import digest, nobody, write_to_claimed
from scalewitness.letters.owing import Owing
from scalewitness.rate_limit import one_too_many
from scalewitness.visits.models import InvitationByLetter, Visit


def send_invitation(visit: Visit, owing: Owing) -> None:
    """Counts animals, names none: the guest is blind."""
    owing.owe(
        "visit_invitation",
        cause=visit.pk,
        recipient=visit.guest_id,
        to=visit.guest.email,
        context={
            "to_name": visit.guest.name,
            "host_name": visit.host.name,
            "opens": visit.opens.isoformat(),
            "closes": visit.closes.isoformat(),
            "blind": visit.blind,
            "count": visit.animals.count(),
            "visit": str(visit.pk),
        },
    )


MOST_TO_ONE: Final = ((3, 86400), (12, 30 * 86400))
"""Letters to one address, from all hosts together, in so many seconds (our judgement: whoever is
asked more often has an account and reads it there; whoever has none is left in peace)."""


def write_to_address(invitation: InvitationByLetter, now: datetime) -> bool:
    """The same to everyone, whether or not there is an account with the address. Whether a letter
    goes: an address gets few."""
    for most, seconds in MOST_TO_ONE:
        if one_too_many(f"invited:{seconds}:{digest(invitation.email)}", most, seconds):
            return False
    context = {
        "host_name": invitation.host.name,
        "opens": invitation.opens.isoformat(),
        "closes": invitation.closes.isoformat(),
        "blind": invitation.blind,
        "count": len(invitation.animals),
        "visit": str(invitation.pk),
    }
    email = invitation.email
    return write_to_claimed("visit_by_letter", email, nobody(email), now, **context)
