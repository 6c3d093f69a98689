"""Planned pairings as shown."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from msgspec import Struct

from scalewitness.animals.models import Animal
from scalewitness.api.shapes import words
from scalewitness.api.shapes.animals import AnimalNamed, animals_named
from scalewitness.api.shapes.people import Person, named
from scalewitness.breeding.queries.pairings import PairingSeen
from scalewitness.people.queries import names_of


class Paired(Struct, frozen=True):
    """One animal of a pairing, with what the record says of its sex."""

    animal: AnimalNamed
    label: words.Label


class PairingShown(Struct, frozen=True):
    """``sire`` and ``dam``: what each is planned as; None where the animal is not the
    reader's to see. ``season``: the year in which the young are expected. ``agreed``: no keeper of
    either is still to agree; ``awaits_you``: the reader is."""

    id: UUID
    position: int
    season: int
    by: Person
    at: datetime
    sire: Paired | None
    dam: Paired | None
    agreed: bool
    awaits_you: bool


class Pairings(Struct, frozen=True):
    items: list[PairingShown]


def pairings(found: Sequence[PairingSeen]) -> Pairings:
    animals = {one.pk: one for pair in found for one in (pair.sire, pair.dam) if one}
    names = names_of({one.pairing.by for one in found})
    held: defaultdict[UUID, list[Animal]] = defaultdict(list)
    for animal in animals.values():
        held[animal.collection_id].append(animal)
    shown = {one.id: one for where, own in held.items() for one in animals_named(own, holder=where)}

    def paired(animal: Animal | None, label: str) -> Paired | None:
        return Paired(shown[animal.pk], label) if animal else None

    return Pairings(
        [
            PairingShown(
                id=one.pairing.pk,
                position=one.pairing.position,
                season=one.pairing.season,
                by=named(one.pairing.by, names),
                at=one.pairing.at,
                sire=paired(one.sire, one.labels[0]),
                dam=paired(one.dam, one.labels[1]),
                agreed=not one.awaits,
                awaits_you="own" in one.awaits,
            )
            for one in found
        ]
    )
