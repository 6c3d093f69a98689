"""Animals: registering, correcting, identifying, noting, moving."""

from typing import cast
from uuid import UUID

from scalewitness.animals import services
from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import animal_of, collection_of, is_steward
from scalewitness.calls.queries.visibility import animal_seen, parents_told
from scalewitness.calls.services import store_linkage
from scalewitness.domain.errors import NotAllowed, NotFound, OutOfRange
from scalewitness.domain.facts import (
    AnimalRegistered,
    CustodyChanged,
    HusbandryNoted,
    LinkageStated,
    Particulars,
    Weight,
)
from scalewitness.domain.sales import RELIED_ON
from scalewitness.domain.sexing.linked_trait import linked_traits
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules.ids import check_unused
from scalewitness.intake.submission import Sealed
from scalewitness.sales.queries import progress_of, sale_of


def stewarded(animal_id: UUID, batch: Batch) -> Animal:
    """The animal, if the actor keeps it or is a partner; else as if there were none."""
    animal = animal_of(animal_id)
    if animal is None or not is_steward(batch.actor.keeper, animal.collection, batch.now):
        raise NotFound()
    return animal


def animal_registered(fact: Sealed, batch: Batch) -> int:
    body = cast(AnimalRegistered, fact.body)
    collection = collection_of(UUID(body.collection))
    if collection is None or not is_steward(batch.actor.keeper, collection, batch.now):
        raise NotFound("You hold no such collection.", pointer="/body/collection")
    check_unused(fact.about)
    _check_parents(body, batch)
    logged = batch.log(fact)
    services.store_animal(logged)
    return logged.position


def particulars_corrected(fact: Sealed, batch: Batch) -> int:
    animal = stewarded(fact.about, batch)
    _check_parents(cast(Particulars, fact.body), batch)
    logged = batch.log(fact)
    services.store_particulars(animal, logged)
    # Another species reads the same depths otherwise.
    batch.touch(animal.pk, fact.id, fact.kind)
    return logged.position


def _check_parents(body: Particulars, batch: Batch) -> None:
    """A parent must be an animal the actor may see; nobody probes the record by guessing."""
    for role, parent in (("sire", body.sire), ("dam", body.dam)):
        if parent is None:
            continue
        try:
            _, sight = animal_seen(_keeper(batch), UUID(parent), batch.now)
        except NotFound:
            sight = "blind"
        if sight != "all":
            raise OutOfRange(f"You see no such {role}.", pointer=f"/body/{role}")


def linkage_stated(fact: Sealed, batch: Batch) -> int:
    """About an animal whose parents are both on record, of a species the trait is known in.

    Somebody who is not told a parent is refused like somebody who names the wrong one.
    """
    animal, body = stewarded(fact.about, batch), cast(LinkageStated, fact.body)
    told = parents_told(_keeper(batch), [animal], batch.now)[animal.pk]
    for role, named, parent in zip(("sire", "dam"), (body.sire, body.dam), told, strict=True):
        if parent is None or str(parent) != named:
            raise OutOfRange(f"Name the {role} on record.", pointer=f"/body/{role}")
    if linked_traits()[body.trait].species != animal.species:
        raise OutOfRange("The trait is not known in this species.", pointer="/body/trait")
    logged = batch.log(fact)
    store_linkage(logged)
    batch.touch(animal.pk, fact.id, fact.kind)
    return logged.position


def identifier_assigned(fact: Sealed, batch: Batch) -> int:
    stewarded(fact.about, batch)
    logged = batch.log(fact)
    services.store_identifier(logged)
    return logged.position


def husbandry_noted(fact: Sealed, batch: Batch) -> int:
    """Keeper and partners note anything; a guest may leave a weight."""
    body = cast(HusbandryNoted, fact.body)
    animal, _ = animal_seen(_keeper(batch), fact.about, batch.now)
    if not is_steward(batch.actor.keeper, animal.collection, batch.now) and not isinstance(
        body.noted, Weight
    ):
        raise NotAllowed("A guest may note a weight only.")
    logged = batch.log(fact)
    services.store_husbandry(logged)
    return logged.position


def custody_changed(fact: Sealed, batch: Batch) -> int:
    """To another collection of one's own, or to the one of a buyer who has paid."""
    body = cast(CustodyChanged, fact.body)
    animal = animal_of(fact.about)
    if animal is None or animal.collection.keeper_id != batch.actor.keeper:
        raise NotFound()
    target = collection_of(UUID(body.to))
    if target is None or not _may_receive(animal, target, body, batch):
        raise NotAllowed(
            "An animal moves to a collection of your own, or to its buyer's once paid for.",
            pointer="/body/to",
        )
    logged = batch.log(fact)
    services.store_move(animal, logged)
    return logged.position


def _may_receive(animal: Animal, target: Collection, body: CustodyChanged, batch: Batch) -> bool:
    if target.pk == animal.collection_id:
        return False
    if target.keeper_id == batch.actor.keeper:
        return True
    sale = sale_of(UUID(body.sale)) if body.sale else None
    if sale is None or sale.collection_id != animal.collection_id:
        return False
    return (
        sale.buyer.keeper_id == target.keeper_id
        and sale.animals.filter(pk=animal.pk).exists()
        and progress_of(sale).state in RELIED_ON
    )


def _keeper(batch: Batch) -> UUID:
    if batch.actor.keeper is None:
        raise NotFound()
    return batch.actor.keeper
