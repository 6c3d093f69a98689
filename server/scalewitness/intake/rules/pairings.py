"""Planned pairings: stated by whoever keeps one of the two, of animals they see whole."""

from typing import cast
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import animal_of, is_steward
from scalewitness.breeding import services
from scalewitness.breeding.queries.agreements import awaited_in
from scalewitness.breeding.queries.pairings import is_planned, pairing_of, pairings_seen
from scalewitness.calls.queries.visibility import sights_of
from scalewitness.domain.errors import NotFound, NotNow, OutOfRange
from scalewitness.domain.fact_words import ENDED
from scalewitness.domain.facts import PairingPlanned
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules.ids import check_unused
from scalewitness.intake.submission import Sealed


def pairing_planned(fact: Sealed, batch: Batch) -> int:
    """Nothing is asked of what the record says of their sexes: plans are made before it is
    sure, and the planning of checks counts them."""
    body = cast(PairingPlanned, fact.body)
    sire, dam = _seen(body.sire, "sire", batch), _seen(body.dam, "dam", batch)
    if not (_keeps(sire, batch) or _keeps(dam, batch)):
        raise NotFound("You keep neither of them.", pointer="/body/sire")
    check_unused(fact.about, batch)
    if is_planned(sire.pk, dam.pk, body.season):
        raise NotNow("This pairing is planned already.")
    logged = batch.log(fact)
    services.store_pairing(logged)
    return logged.position


def _seen(id: str, role: str, batch: Batch) -> Animal:
    animal, keeper = animal_of(UUID(id)), batch.actor.keeper
    sights = sights_of(keeper, [animal.pk], batch.now) if animal and keeper else {}
    if animal is None or sights.get(animal.pk) != "all":
        raise NotFound("There is no such animal that you may see.", pointer=f"/body/{role}")
    if animal.ended:
        raise OutOfRange(ENDED[animal.ended], pointer=f"/body/{role}")
    return animal


def _keeps(animal: Animal, batch: Batch) -> bool:
    return is_steward(batch.actor.keeper, animal.collection, batch.now)


def pairing_dropped(fact: Sealed, batch: Batch) -> int:
    pairing = pairing_of(fact.about)
    if pairing is None or not (_keeps(pairing.sire, batch) or _keeps(pairing.dam, batch)):
        raise NotFound()
    if hasattr(pairing, "end"):
        raise NotNow("This pairing is no longer planned.")
    logged = batch.log(fact)
    services.store_end(logged)
    return logged.position


def pairing_agreed(fact: Sealed, batch: Batch) -> int:
    """By whoever keeps one of the two and sees both: nobody agrees to an animal unseen."""
    keeper, pairing = batch.actor.keeper, pairing_of(fact.about)
    if pairing is None or keeper is None:
        raise NotFound()
    if hasattr(pairing, "end"):
        raise NotNow("This pairing is no longer planned.")
    seen = pairings_seen(keeper, batch.now, among=[pairing.sire_id])
    one = next((one for one in seen if one.pairing.pk == pairing.pk), None)
    if one is None:
        raise NotFound()
    if one.sire is None or one.dam is None:
        raise NotNow("You may not see the other animal: ask its keeper for access to it.")
    awaited = awaited_in([pairing.pk], batch.now).get(pairing.pk, ())
    if not any(one.pk in awaited and _keeps(one, batch) for one in (pairing.sire, pairing.dam)):
        raise NotNow("You have agreed to it already.")
    logged = batch.log(fact)
    services.store_agreement(logged)
    return logged.position
