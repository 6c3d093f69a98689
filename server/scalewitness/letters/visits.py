"""Letters about visits."""

from datetime import datetime

from scalewitness.letters.accounts import nobody, write_to_claimed
from scalewitness.letters.owing import Owing
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


def write_to_address(invitation: InvitationByLetter, now: datetime) -> None:
    """The same to everyone, whether or not there is an account with the address."""
    context = {
        "host_name": invitation.host.name,
        "opens": invitation.opens.isoformat(),
        "closes": invitation.closes.isoformat(),
        "blind": invitation.blind,
        "count": len(invitation.animals),
        "visit": str(invitation.pk),
    }
    write_to_claimed("visit_by_letter", invitation.email, nobody(invitation.email), now, **context)
