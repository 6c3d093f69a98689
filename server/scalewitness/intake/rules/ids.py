"""A new thing needs an id of its own, whatever kind of thing it is."""

from uuid import UUID

from scalewitness.animals.queries import collection_of
from scalewitness.domain.errors import IdReused
from scalewitness.intake.batch import Batch
from scalewitness.ledger.queries.entries import is_spoken_for
from scalewitness.sales.queries import sale_of


def check_unused(thing: UUID, batch: Batch) -> None:
    """Else facts about one thing would be filed under another.

    Raises:
        IdReused: a fact, animal, collection, sale, visit or dispute has this id.
    """
    if batch.speaks_of(thing) or is_spoken_for(thing) or collection_of(thing) or sale_of(thing):
        raise IdReused(pointer="/about")
