"""What is on record of an animal besides its sex."""

from collections.abc import Sequence
from dataclasses import dataclass

from scalewitness.animals.models import Animal, Custody, Husbandry, Joining
from scalewitness.animals.queries import moves_of, notes_of
from scalewitness.animals.queries.joining import asked_of
from scalewitness.disputes.models import Dispute
from scalewitness.disputes.queries.disputes import open_disputes_on
from scalewitness.ledger.queries.together import read_together
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import sales_with_steps


@dataclass(frozen=True, slots=True)
class Life:
    """All of it: whoever shows it asks what its reader may see. ``dispute``: the open one;
    ``asked``: the last proposal that waits for its keeper."""

    notes: Sequence[Husbandry]
    moves: Sequence[Custody]
    sales: Sequence[Sale]
    dispute: Dispute | None
    asked: Joining | None


def life_of(animal: Animal) -> Life:
    notes, moves, disputes, asked = read_together(
        notes_of(animal.pk), moves_of(animal.pk), open_disputes_on(animal.pk), asked_of(animal.pk)
    )
    for one in moves:
        one.animal = animal
    return Life(
        notes=notes,
        moves=moves,
        sales=sales_with_steps(animal.pk),
        dispute=next(iter(disputes), None),
        asked=asked[-1] if asked else None,
    )
