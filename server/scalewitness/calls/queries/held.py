"""Calls that came late: held for a host's decision, decided on, or taken as they came."""

from collections.abc import Iterable
from uuid import UUID

from scalewitness.calls.models import HeldCall

MOST = 50


def held_calls(collections: Iterable[UUID]) -> list[HeldCall]:
    """Undecided late calls on animals of these collections, oldest first."""
    return list(
        HeldCall.objects.filter(animal__collection__in=list(collections), decision=None)
        .select_related("animal__collection")
        .order_by("received_at", "pk")
    )


def held_call_of(held: UUID) -> HeldCall | None:
    return HeldCall.objects.select_related("animal__collection", "decision").filter(pk=held).first()


def decided_calls(collections: Iterable[UUID]) -> list[HeldCall]:
    """Late calls on animals of these collections that were decided on, the latest first."""
    return list(
        HeldCall.objects.filter(animal__collection__in=list(collections), decision__isnull=False)
        .select_related("animal__collection", "decision")
        .order_by("-decision__position")[:MOST]
    )
