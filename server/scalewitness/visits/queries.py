"""Reading visits, each side's own."""

from datetime import datetime
from uuid import UUID

from django.db.models import Q

from scalewitness.animals.queries import is_steward, stewarded
from scalewitness.domain.errors import NotFound
from scalewitness.visits.models import Visit, VisitAnimal


def visit_of(visit: UUID) -> Visit | None:
    return Visit.objects.select_related("collection", "host", "guest").filter(pk=visit).first()


def visit_seen(keeper: UUID, visit: UUID, now: datetime) -> tuple[Visit, bool]:
    """A visit, and whether the keeper is on the host's side of it.

    Raises:
        NotFound: there is none, or the keeper is neither host, partner nor guest.
    """
    found = visit_of(visit)
    if found is None:
        raise NotFound()
    hosting = is_steward(keeper, found.collection, now)
    if not hosting and found.guest_id != keeper:
        raise NotFound()
    return found, hosting


def visits_of(keeper: UUID) -> list[Visit]:
    """Visits the keeper hosts or is invited to, newest first."""
    mine = Q(host=keeper) | Q(guest=keeper)
    return list(
        Visit.objects.filter(mine)
        .select_related("collection", "host", "guest")
        .prefetch_related("steps", "animals")
        .order_by("-position")
    )


def visits_seen(keeper: UUID, now: datetime) -> list[Visit]:
    """Visits to collections the keeper holds or is a partner in, and those they are
    invited to, newest first."""
    return list(
        Visit.objects.filter(Q(collection__in=stewarded(keeper, now)) | Q(guest=keeper))
        .select_related("collection", "host", "guest")
        .prefetch_related("steps", "animals")
        .order_by("-position")
    )


def checked_with(animal: UUID) -> set[UUID]:
    """Animals that were on the sheet of a visit together with it."""
    together = VisitAnimal.objects.filter(visit__animals=animal).exclude(animal=animal)
    return set(together.values_list("animal", flat=True))


def state_of(visit: Visit, now: datetime) -> str:
    """``invited``, ``accepted``, ``open``, ``over``, ``declined`` or ``cancelled``."""
    kinds = [step.kind for step in visit.steps.all()]
    if "visit_cancelled" in kinds:
        return "cancelled"
    if "visit_declined" in kinds:
        return "declined"
    if now >= visit.closes:
        return "over"
    if "visit_accepted" not in kinds:
        return "invited"
    return "open" if now >= visit.opens else "accepted"
