"""Calls held for a host's decision because they came long after their visit."""

from collections.abc import Iterable
from uuid import UUID

from scalewitness.calls.models import HeldCall


def held_calls(collections: Iterable[UUID]) -> list[HeldCall]:
    """Undecided late calls on animals of these collections, oldest first."""
    return list(
        HeldCall.objects.filter(animal__collection__in=list(collections), decision=None)
        .select_related("animal__collection")
        .order_by("received_at", "pk")
    )


def held_call_of(held: UUID) -> HeldCall | None:
    return HeldCall.objects.select_related("animal__collection", "decision").filter(pk=held).first()
