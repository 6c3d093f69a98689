"""Letters about visits."""

from scalewitness.letters.owing import Owing
from scalewitness.visits.models import Visit


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
