"""Letters about planned pairings whose plan rests on what changed of one of the two."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Set
from typing import Any, NamedTuple
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.breeding.models import Pairing
from scalewitness.calls.queries.visibility import Sight, kept_from, reader_of, sights_of
from scalewitness.domain.consequences import Affected, ClaimChange
from scalewitness.domain.genetics.stated import Statement
from scalewitness.letters.animals import describe, stewards
from scalewitness.letters.claims import becomes_in_words, claim_in_letters
from scalewitness.letters.owing import Owing
from scalewitness.people.models import Keeper


class _Reader(NamedTuple):
    """Who holds one of the two of each of these ``pairings``, or is a partner where it is, and what
    they see of ``sights``. ``rooms``: the collections of theirs that the two are in."""

    keeper: Keeper
    pairings: list[Pairing]
    sights: Mapping[UUID, Sight]
    rooms: Set[UUID]

    @property
    def plans(self) -> list[dict[str, Any]]:
        """The seasons of their own collections that the pairings are part of."""
        found = {
            (pairing.season, str(one.collection_id))
            for pairing in self.pairings
            for one in (pairing.sire, pairing.dam)
            if one.collection_id in self.rooms
        }
        return [{"season": season, "collection": room} for season, room in sorted(found)]


def notify_of_pairings(
    animal: Animal,
    standing: UUID,
    affected: Iterable[tuple[Pairing, Affected]],
    moved: dict[str, Any],
    owing: Owing,
) -> None:
    """Holders and partners of both animals, one letter each for all pairings they are part of.
    Of an animal that they may not see they hear only that its sex is no longer what they
    planned on; whoever is still to check it blind hears nothing."""
    found = list(affected)
    changes = {pairing.pk: one for pairing, one in found}
    for reader in _readers(animal, [pairing for pairing, _ in found], owing):
        keeper, sights = reader.keeper, reader.sights
        owing.owe(
            "pairing_affected",
            cause=standing,
            recipient=keeper.pk,
            to=keeper.email,
            context={
                "to_name": keeper.name,
                "animal": describe(animal) if animal.pk in sights else None,
                **(moved if animal.pk in sights else {}),
                "pairings": [
                    _planned(one, animal, sights)
                    | {"sex": changes[one.pk].sex, "change": changes[one.pk].change}
                    for one in reader.pairings
                ],
                "plans": reader.plans,
            },
            about=f"pairings of {animal.pk}",
        )


class ClaimMoved(NamedTuple):
    """What became of a claim, by the fact ``by`` at ``position``. ``chance``: of one that fell."""

    claim: Statement
    change: ClaimChange
    chance: str | None
    by: UUID
    position: int


def notify_of_claimed_pairings(
    animal: Animal, moved: ClaimMoved, pairings: Iterable[Pairing], owing: Owing
) -> None:
    """The same of a claim of a trait, to those who see the animal whole and nobody else: whoever
    may not see it knows of no claim. Who took it back themselves knows."""
    for reader in _readers(animal, pairings, owing):
        keeper, sights = reader.keeper, reader.sights
        took_back = moved.change == "withdrawn" and keeper.pk == owing.sender
        if animal.pk not in sights or took_back:
            continue
        owing.owe(
            "pairing_affected",
            cause=moved.by,
            recipient=keeper.pk,
            to=keeper.email,
            context={
                "to_name": keeper.name,
                "animal": describe(animal),
                "claim": claim_in_letters(animal, moved.claim),
                "becomes": becomes_in_words(moved.change, moved.chance),
                "position": moved.position,
                "pairings": [
                    _planned(one, animal, sights)
                    | {"sex": "male" if one.sire_id == animal.pk else "female"}
                    for one in reader.pairings
                ],
                "plans": reader.plans,
            },
            about=f"claim {moved.claim.id} in pairings",
        )


def _readers(animal: Animal, pairings: Iterable[Pairing], owing: Owing) -> Iterator[_Reader]:
    """But for who is still to check the animal blind; without pairings whose mate they are to check
    so: a pairing says what each is taken for."""
    found = list(pairings)
    homes = {one.collection_id: one for pair in found for one in (pair.sire, pair.dam)}
    inside = {room: stewards(one, owing) for room, one in homes.items()}
    keepers: dict[UUID, Keeper] = {}
    own: defaultdict[UUID, list[Pairing]] = defaultdict(list)
    for pairing in found:
        both = [*inside[pairing.sire.collection_id], *inside[pairing.dam.collection_id]]
        for keeper in {one.pk: one for one in both}.values():
            keepers[keeper.pk] = keeper
            own[keeper.pk].append(pairing)
    for id, keeper in keepers.items():
        mates = {mate_of(pairing, animal).pk for pairing in own[id]}
        sights = sights_of(id, {animal.pk, *mates}, owing.now)
        shut = kept_from(reader_of(id, owing.now))
        open_ones = [one for one in own[id] if mate_of(one, animal).pk not in shut]
        if open_ones and animal.pk not in shut:
            rooms = {room for room, who in inside.items() if keeper in who}
            yield _Reader(keeper, open_ones, sights, rooms)


def mate_of(pairing: Pairing, animal: Animal) -> Animal:
    """The other animal of a pairing."""
    return pairing.dam if pairing.sire_id == animal.pk else pairing.sire


def _planned(pairing: Pairing, animal: Animal, sights: Mapping[UUID, Sight]) -> dict[str, Any]:
    mate = mate_of(pairing, animal)
    return {
        "mate": describe(mate) if sights.get(mate.pk) == "all" else None,
        "season": pairing.season,
    }
