"""How an animal's standing came about."""

from uuid import UUID

from scalewitness.calls.models import Standing


def standings_of(animal: UUID) -> list[Standing]:
    """Every standing logged for the animal, in log order."""
    return list(Standing.objects.filter(animal=animal).order_by("position"))
