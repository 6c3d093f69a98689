"""What keepers stated of traits inherited with sex, and where it lets an answer start."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

import msgspec
from django.db.models import QuerySet

from scalewitness.animals.models import Animal
from scalewitness.domain.facts import LinkageStated
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.stated_linkage import Origin, Start, start_from
from scalewitness.ledger.queries.prepared import Prepared, any_of
from scalewitness.standings.models import StatedLinkage


def linkages_of(animal: UUID) -> QuerySet[StatedLinkage]:
    """All that was stated of it, in log order."""
    return StatedLinkage.objects.filter(animal=animal).order_by("position")


def last_stated(linkages: Iterable[StatedLinkage], at: int | None = None) -> LinkageStated | None:
    """The statement in force at log position ``at``, now when None: the latest of them."""
    until = [one for one in linkages if at is None or one.position <= at]
    return msgspec.convert(until[-1].body, LinkageStated) if until else None


def start_of(animal: Animal, numbers: Parameters) -> Start:
    """Where the animal's answer starts now."""
    return starts_of([animal], numbers)[animal.pk]


def starts_of(animals: Iterable[Animal], numbers: Parameters) -> dict[UUID, Start]:
    """Where the answer of each animal starts now, with one query."""
    wanted = {animal.pk: animal for animal in animals}
    stated = {
        animal: msgspec.convert(body, LinkageStated)
        for animal, body in STATED.ask(animals=list(wanted))
    }
    return {
        key: start_from(stated.get(key), origin_of(animal), numbers)
        for key, animal in wanted.items()
    }


def _latest(animals: Any) -> QuerySet[StatedLinkage, Any]:
    rows = any_of(StatedLinkage.objects.all(), '"calls_statedlinkage"."animal_id"', animals)
    latest = rows.order_by("animal", "-position").distinct("animal")
    return latest.values_list("animal", "body")


STATED = Prepared(_latest, animals=(UUID(int=1),))


def origin_of(animal: Animal) -> Origin:
    """What a statement of linkage rests on, from the row."""
    sire, dam = animal.sire, animal.dam
    return Origin(animal.species, str(sire) if sire else None, str(dam) if dam else None)
