"""What numbers are learned from: animals that confirmed proof settled, and all that was called of
them."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from uuid import UUID

from scalewitness.animals.models import Animal, Custody
from scalewitness.animals.models import Collection as AnimalCollection
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.examiners.posterior import Proof
from scalewitness.domain.sexing.learning.settled import SettledAnimal
from scalewitness.standings.models import NumbersCandidate
from scalewitness.standings.queries.assessing import yardstick
from scalewitness.standings.queries.awaited import NEVER, LogPoint, stood_still
from scalewitness.standings.queries.evidence import (
    StatedCall,
    counting_at,
    evidence_of,
    with_report,
)
from scalewitness.standings.queries.settling import proofs_of

READ_TOGETHER = 1000
"""Animals whose checks are read at a time (our judgement)."""


def settled_animals(now: datetime) -> list[SettledAnimal]:
    """Every one, by id. What an animal is learned from that somebody is still to check blind is
    what the last candidate learned from it while nobody was: one that moves, or goes, would tell
    them. Of one that nobody learned from before, nothing."""
    still = stood_still(now, _learned_at())
    by_position: defaultdict[int, set[UUID]] = defaultdict(set)
    for animal, position in still.items():
        by_position[position].add(animal)
    by_position.pop(NEVER, None)
    found = {animal: one for animal, one in _settled() if animal not in still}
    for position, animals in by_position.items():
        found |= _settled(animals, position)
    return [found[animal] for animal in sorted(found)]


def _learned_at() -> list[LogPoint]:
    """When candidates were made, the latest first."""
    rows = NumbersCandidate.objects.order_by("-made_at").values_list("learned_until", "made_at")
    return [LogPoint(size - 1, at) for size, at in rows]


def _settled(
    among: Collection[UUID] | None = None, at: int | None = None
) -> Iterator[tuple[UUID, SettledAnimal]]:
    """As things are, or just after the fact at log position ``at``."""
    rule = yardstick(at)
    proofs: defaultdict[UUID, list[Proof]] = defaultdict(list)
    for proof in proofs_of(counting_at(at), rule.policy, rule.numbers, at, among):
        proofs[UUID(proof.animal)].append(proof)
    sexes = {animal: sex for animal, found in proofs.items() if (sex := _agreed(found))}
    ids = sorted(sexes)
    for start in range(0, len(ids), READ_TOGETHER):
        yield from _with_checks(ids[start : start + READ_TOGETHER], sexes, proofs, at)


def _agreed(proofs: Iterable[Proof]) -> Sex | None:
    """The sex of all of them; None where they disagree."""
    sexes = {proof.sex for proof in proofs}
    return sexes.pop() if len(sexes) == 1 else None


def _with_checks(
    ids: Sequence[UUID],
    sexes: Mapping[UUID, Sex],
    proofs: Mapping[UUID, Sequence[Proof]],
    at: int | None,
) -> Iterator[tuple[UUID, SettledAnimal]]:
    """Of those that somebody called who did not make the proof."""
    calls: defaultdict[UUID, list[StatedCall]] = defaultdict(list)
    for call in with_report(counting_at(at).filter(animal__in=ids), at):
        calls[call.animal_id].append(call)
    provers = {one: tuple(sorted({proof.examiner for proof in proofs[one]})) for one in ids}
    checks = {
        one: made
        for one, made in calls.items()
        if any(str(call.examiner) not in provers[one] for call in made)
    }
    animals = Animal.objects.in_bulk(list(checks))
    keepers = _keepers(animals.values(), checks)
    for animal, made in checks.items():
        yield (
            animal,
            SettledAnimal(
                species=animals[animal].species,
                sex=sexes[animal],
                collection=str(keepers[animal]),
                checks=tuple(map(evidence_of, made)),
                provers=provers[animal],
            ),
        )


def _keepers(
    animals: Iterable[Animal], calls: Mapping[UUID, Sequence[StatedCall]]
) -> dict[UUID, UUID]:
    """Who kept each when it was first called. By keeper and not by collection: whoever makes
    five collections is still one, and so is whoever sells the animals on."""
    homes = {animal.pk: animal.collection_id for animal in animals}
    moves = Custody.objects.filter(animal__in=list(homes)).order_by("-position")
    homes |= {
        animal: came_from
        for animal, position, came_from in moves.values_list("animal", "position", "came_from")
        if position > calls[animal][0].position
    }
    rows = AnimalCollection.objects.filter(pk__in=set(homes.values()))
    keepers = dict(rows.values_list("pk", "keeper"))
    return {animal: keepers[home] for animal, home in homes.items()}
