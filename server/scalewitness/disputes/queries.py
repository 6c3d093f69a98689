"""Reading disputes."""

from datetime import datetime
from uuid import UUID

from scalewitness.calls.queries.visibility import visible_animals
from scalewitness.disputes.models import Dispute


def dispute_of(dispute: UUID) -> Dispute | None:
    return (
        Dispute.objects.select_related("animal__collection", "sale__buyer", "finding")
        .filter(pk=dispute)
        .first()
    )


def open_dispute_on(animal: UUID) -> Dispute | None:
    return Dispute.objects.filter(animal=animal, finding=None).order_by("position").first()


def disputes_seen(keeper: UUID, now: datetime) -> list[Dispute]:
    """Disputes on animals the keeper may see whole; open ones first, then the newest."""
    seen = visible_animals(keeper, now).filter(sight="all").values("pk")
    found = (
        Dispute.objects.filter(animal__in=seen)
        .select_related("animal", "sale__buyer", "finding")
        .order_by("-position")
    )
    return sorted(found, key=lambda dispute: hasattr(dispute, "finding"))
