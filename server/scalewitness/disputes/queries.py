"""Reading disputes."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from scalewitness.calls.queries.candidates import AtStake
from scalewitness.calls.queries.visibility import visible_animals
from scalewitness.disputes.models import Dispute
from scalewitness.sales.queries import animals_on_sale, parties_to_sales


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


def at_stake(animals: Iterable[UUID]) -> AtStake:
    """What hangs on the sex of each of these animals."""
    wanted = list(animals)
    disputed = Dispute.objects.filter(animal__in=wanted, finding=None)
    return AtStake(
        on_sale=animals_on_sale(wanted),
        disputed=frozenset(disputed.values_list("animal", flat=True)),
        parties=parties_to_sales(wanted),
    )
