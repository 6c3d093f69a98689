"""What a fact does to the seasons that were planned on an animal."""

from collections import defaultdict
from collections.abc import Iterable
from uuid import UUID

from scalewitness.breeding.models import Pairing
from scalewitness.breeding.services import store_affected_plan
from scalewitness.domain.facts import PlanAffected
from scalewitness.domain.facts.animals import PlanChange
from scalewitness.intake.batch import Batch


def state_affected_plans(
    animal: UUID,
    cause: UUID,
    affected: Iterable[tuple[Pairing, PlanChange]],
    batch: Batch,
    claim: UUID | None = None,
) -> None:
    """Of each collection that has one of the two in it, once a season: in the transaction of the
    fact that is the ``cause``. ``claim``: of which claim the change is; None: of the sex."""
    plans: defaultdict[tuple[UUID, int, PlanChange], list[str]] = defaultdict(list)
    for pairing, change in affected:
        for room in sorted({pairing.sire.collection_id, pairing.dam.collection_id}):
            plans[room, pairing.season, change].append(str(pairing.pk))
    for (room, season, change), pairings in plans.items():
        body = PlanAffected(
            season=season,
            animal=str(animal),
            cause=str(cause),
            change=change,
            pairings=tuple(pairings),
            claim=None if claim is None else str(claim),
        )
        store_affected_plan(batch.state("plan_affected", room, body))
