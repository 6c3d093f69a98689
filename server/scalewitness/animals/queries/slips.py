"""Animals that were registered in error: nothing else reads them."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from scalewitness.animals.models import IN_ERROR, Animal
from scalewitness.animals.queries import stewarded


def slip_of(animal: UUID) -> Animal | None:
    """An animal that was registered in error."""
    return Animal.ever.select_related("collection").filter(pk=animal, ended=IN_ERROR).first()


def slips_among(animals: Iterable[UUID], keeper: UUID, now: datetime) -> set[UUID]:
    """Those that were registered in error in a collection that the keeper holds, or is a partner
    in."""
    slips = Animal.ever.filter(pk__in=list(animals), ended=IN_ERROR)
    return set(slips.filter(collection__in=stewarded(keeper, now)).values_list("pk", flat=True))
