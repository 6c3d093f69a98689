"""Animals: registering, correcting, noting."""

from datetime import date
from typing import cast
from uuid import UUID

from scalewitness.animals import services
from scalewitness.animals.models import Animal, Husbandry
from scalewitness.animals.queries import animal_of, is_steward
from scalewitness.breeding.queries.descent import descend_from, known_descent
from scalewitness.calls.queries.visibility import (
    Parents,
    animal_seen,
    checks_blind,
    parents_shown,
    reader_of,
)
from scalewitness.domain.errors import IdReused, NotFound, NotNow, OutOfRange
from scalewitness.domain.facts import (
    AnimalRegistered,
    LinkageStated,
    Particulars,
)
from scalewitness.domain.parents import Role, died_too_early
from scalewitness.domain.sexing.linked_trait import linked_traits
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules.late import note_of_another
from scalewitness.intake.submission import Sealed
from scalewitness.standings.services import store_linkage


def stewarded(animal_id: UUID, batch: Batch) -> Animal:
    """The animal, if the actor keeps it or is a partner; else as if there were none."""
    animal = animal_of(animal_id)
    if animal is None or not is_steward(batch.actor.keeper, animal.collection, batch.now):
        raise NotFound()
    return animal


def animal_registered(fact: Sealed, batch: Batch) -> int:
    body, holdings = cast(AnimalRegistered, fact.body), batch.known.holdings
    collection = holdings.collection(UUID(body.collection))
    if collection is None or not holdings.keeps(collection.pk):
        raise NotFound("You hold no such collection.", pointer="/body/collection")
    if batch.speaks_of(fact.about) or holdings.is_used(fact.about):
        raise IdReused(pointer="/about")
    if body.sire or body.dam:
        batch.store()  # they may be of this batch
        _check_parents(body, batch)
    logged = batch.log(fact)
    animal = services.registered(logged, collection)
    for table, row in services.animal_rows(animal, logged.received_at):
        batch.keep(table, row)
    holdings.add(animal)
    batch.recount_broods(fact, animal.sire)
    return logged.position


def particulars_corrected(fact: Sealed, batch: Batch) -> int:
    animal = stewarded(fact.about, batch)
    on_record = _parents_open_to(animal, batch)
    _check_parents(cast(Particulars, fact.body), batch, on_record)
    _check_no_loop(animal, cast(Particulars, fact.body), batch, on_record)
    logged, earlier = batch.log(fact), animal.sire
    services.store_particulars(animal, logged)
    named = cast(Particulars, fact.body).sire
    batch.recount_broods(fact, earlier, UUID(named) if named else None)
    # Another species reads the same depths otherwise.
    batch.touch(animal.pk, fact.id, fact.kind)
    return logged.position


def _parents_open_to(animal: Animal, batch: Batch) -> Parents:
    """Sire and dam on record, for somebody who replaces them.

    Raises:
        NotNow: they cannot know what they would replace. Whoever is to check any animal blind is
            told so of all animals without parents, lest it tell whether there are any.
    """
    keeper = _keeper(batch)
    shown = parents_shown(keeper, [animal], batch.now)[animal.pk]
    if not any(shown) and checks_blind(keeper, batch.now):
        raise NotNow(
            "You are to check an animal blind. Until then no parents are told of this one, and its "
            "particulars stay as they are, so that none are lost. Correct them after your checks."
        )
    return shown


def _check_parents(body: Particulars, batch: Batch, on_record: Parents = (None, None)) -> None:
    if body.sire:
        _check_parent(body, "sire", body.sire, batch, on_record[0])
    if body.dam:
        _check_parent(body, "dam", body.dam, batch, on_record[1])


def _check_parent(
    body: Particulars, role: Role, parent: str, batch: Batch, on_record: UUID | None
) -> None:
    """A parent must be an animal the actor may see, or stay the one they are told of; nobody
    probes the record by guessing."""
    try:
        animal, sight = animal_seen(_keeper(batch), UUID(parent), batch.now)
    except NotFound:
        if parent == str(on_record):
            return
        sight = "blind"
    if sight != "all":
        raise OutOfRange(f"You see no such {role}.", pointer=f"/body/{role}")
    if animal.ended != "died" or animal.ended_at is None or body.hatched is None:
        return
    died, hatched = animal.ended_at.date(), date.fromisoformat(body.hatched)
    if died_too_early(role, died, hatched):
        raise OutOfRange(
            f"Its keeper says that this {role} died on {died}: too long before young that hatched "
            f"on {hatched}. Choose another, or put one of the days right.",
            pointer=f"/body/{role}",
        )


def _check_no_loop(animal: Animal, body: Particulars, batch: Batch, on_record: Parents) -> None:
    """Nothing is its own ancestor. Only what the actor may see is followed: whoever names a parent
    could else find out by refusals who descends from whom. What closes a loop out of their sight
    is left out wherever a pedigree is read (`known_descent`). Parents that stay as they are close
    none, and most corrections leave them: for those no descent is read, as everybody waits."""
    named = {"sire": body.sire, "dam": body.dam}
    known = dict(zip(named, on_record, strict=True))
    new = {role: UUID(one) for role, one in named.items() if one and one != str(known[role])}
    if not new:
        return
    descended = descend_from(known_descent(reader_of(_keeper(batch), batch.now)), animal.pk)
    for role, parent in new.items():
        if parent in descended:
            raise OutOfRange(
                "An animal cannot descend from itself: this is it, or one of its own young.",
                pointer=f"/body/{role}",
            )


def linkage_stated(fact: Sealed, batch: Batch) -> int:
    """About an animal whose parents are both on record, of a species the trait is known in.

    Somebody who is not told a parent is refused like somebody who names the wrong one.
    """
    animal, body = stewarded(fact.about, batch), cast(LinkageStated, fact.body)
    shown = parents_shown(_keeper(batch), [animal], batch.now)[animal.pk]
    for role, named, parent in zip(("sire", "dam"), (body.sire, body.dam), shown, strict=True):
        if parent is None or str(parent) != named:
            raise OutOfRange(f"Name the {role} on record.", pointer=f"/body/{role}")
    if linked_traits()[body.trait].species != animal.species:
        raise OutOfRange("The trait is not known in this species.", pointer="/body/trait")
    logged = batch.log(fact)
    store_linkage(logged)
    batch.touch(animal.pk, fact.id, fact.kind)
    return logged.position


def husbandry_noted(fact: Sealed, batch: Batch) -> int | None:
    """Keeper and partners note anything; a guest may leave a weight, also after the visit."""
    holdings = batch.known.holdings
    animal = holdings.animal(fact.about)
    if animal is None or not holdings.keeps(animal.collection_id):
        return note_of_another(fact, batch)
    logged = batch.log(fact)
    batch.keep(Husbandry, services.husbandry_row(logged))
    return logged.position


def _keeper(batch: Batch) -> UUID:
    if batch.actor.keeper is None:
        raise NotFound()
    return batch.actor.keeper
