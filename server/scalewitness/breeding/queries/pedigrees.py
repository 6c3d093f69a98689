"""The pedigree as one reader may see it: nothing in it rests on an animal that they may not see.

A parent of whom they are told, and whom they may not see, stands in it without anything of its own:
half siblings stay half siblings. One of whom they are not told is an unknown animal.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID

from django.db.models import prefetch_related_objects

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import animals_of
from scalewitness.breeding.queries.descent import Descent, Descents, known_descent, related
from scalewitness.breeding.queries.parentage import Mates, known_mates, tested_young
from scalewitness.calls.queries.visibility import Reader, reader_of
from scalewitness.domain.genetics.stated import Statement
from scalewitness.domain.parents import OWN_ANCESTOR, WITHOUT_SIRE, Chances, dams, in_loops, sires
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.logged import latest_standings
from scalewitness.traits.queries import statements_of


@dataclass(frozen=True, slots=True)
class Relative:
    """One animal of a pedigree. ``animal`` None: the reader is told that it is a parent, and may
    not see it. ``male``: the chance of that, plainly; ``sires``, ``dams``: who its parents may
    be; ``alone``: the chance that its dam had it without a male; ``stated``: of its traits."""

    id: UUID
    animal: Animal | None
    standing: Standing | None
    sire: UUID | None
    dam: UUID | None
    male: float
    sires: Chances
    dams: Chances
    alone: float = 0.0
    stated: tuple[Statement, ...] = ()


@dataclass(frozen=True, slots=True)
class PedigreeSeen:
    """All that the reader may know to be related to some animals, by id."""

    reader: Reader
    relatives: Mapping[UUID, Relative]


def pedigree_for(keeper: UUID, now: datetime, *, among: Iterable[UUID]) -> PedigreeSeen:
    """Of those of the animals that the reader sees whole, and of all that are related to them."""
    reader = reader_of(keeper, now)
    descents = known_descent(reader)
    mates = known_mates(descents, reader)
    wanted = _with_mates(descents, mates, [one for one in among if one in descents])
    seen = wanted & descents.keys()
    known = _Gathered(
        descents, latest_standings(seen), statements_of(seen), mates, tested_young(descents, wanted)
    )
    fathers = {one.sire for one in descents.values()}
    relatives = {pk: known.relative(animal) for pk, animal in animals_of(seen).items()}
    bare = {one: _only_named(one, one in fathers) for one in wanted - seen}
    return PedigreeSeen(reader, _without_loops(relatives | bare))


def _without_loops(relatives: Mapping[UUID, Relative]) -> Mapping[UUID, Relative]:
    """Parents as stated close no loop; those that may be parents beside them can: a dam's son by
    whom she has young is with her in no season on record of his own hatching."""
    may_be: dict[UUID, list[UUID]] = {
        one.id: [each for each in one.sires.of if isinstance(each, UUID)]
        for one in relatives.values()
    }
    for one in relatives.values():
        may_be[one.id] += [one.dam] if one.dam else []
    looped = in_loops(may_be)
    return {
        key: replace(one, sires=one.sires.without_others(one.sire)) if key in looped else one
        for key, one in relatives.items()
    }


def with_identifiers(found: PedigreeSeen, animals: Iterable[UUID]) -> None:
    """Reads the identifiers of all that are still without, together."""
    seen = [found.relatives[one].animal for one in animals]
    prefetch_related_objects([one for one in seen if one is not None], "identifiers")


def ancestry(found: PedigreeSeen, animal: UUID, generations: int | None = None) -> set[UUID]:
    """It and its ancestors as stated, up to that many generations above it, or all."""
    reached, last = {animal}, {animal}
    while last and generations != 0:
        named = (found.relatives[one] for one in last)
        last = {each for one in named for each in (one.sire, one.dam) if each} - reached
        reached |= last
        generations = None if generations is None else generations - 1
    return reached


def young_of(found: PedigreeSeen, animal: UUID) -> list[Relative]:
    """Those that it is stated to be a parent of."""
    return [one for one in found.relatives.values() if animal in (one.sire, one.dam)]


def _with_mates(descents: Descents, mates: Mates, among: Collection[UUID]) -> set[UUID]:
    """Whoever is related to these, or may be because a dam was with another male."""
    found: set[UUID] = set()
    left = set(among)
    while left:
        found |= related(descents, left)
        others = {
            male
            for one in found & descents.keys()
            for male in mates.earlier(descents[one]) | mates.beside(descents[one])
        }
        left = others - found
    return found


@dataclass(frozen=True, slots=True)
class _Gathered:
    """What is known of the animals of a pedigree that the reader sees whole."""

    descents: Descents
    standings: Mapping[UUID, Standing]
    stated: Mapping[UUID, list[Statement]]
    mates: Mates
    tests: Mapping[UUID, Collection[UUID]]

    def relative(self, animal: Animal) -> Relative:
        descent, standing = self.descents[animal.pk], self.standings.get(animal.pk)
        return Relative(
            id=animal.pk,
            animal=animal,
            standing=standing,
            sire=descent.sire,
            dam=descent.dam,
            male=float(standing.p_male) if standing else 0.5,
            sires=self._sires(animal.pk, descent),
            dams=self._dams(animal.pk, descent),
            alone=self._alone(animal.pk, descent),
            stated=tuple(self.stated.get(animal.pk, ())),
        )

    def _sires(self, animal: UUID, descent: Descent) -> Chances:
        if descent.looped:
            return OWN_ANCESTOR
        return sires(
            descent.sire,
            tested=self._tested(animal, descent.sire),
            earlier=self.mates.earlier(descent),
            beside=self.mates.beside(descent),
        )

    def _dams(self, animal: UUID, descent: Descent) -> Chances:
        if descent.looped:
            return OWN_ANCESTOR
        of_both = self._tested(animal, descent.sire)  # it leaves out that she had it alone
        return dams(descent.dam, tested=of_both or self._tested(animal, descent.dam))

    def _alone(self, animal: UUID, descent: Descent) -> float:
        if descent.dam is None or descent.sire is not None:
            return 0.0
        if self._tested(animal, descent.dam):
            return 1.0
        with_males = self.mates.earlier(descent) | self.mates.beside(descent)
        return 0.0 if with_males else WITHOUT_SIRE

    def _tested(self, animal: UUID, parent: UUID | None) -> bool:
        return parent is not None and animal in self.tests.get(parent, ())


def _only_named(one: UUID, is_sire: bool) -> Relative:
    """Of whom nothing is known but that it is a parent, and which."""
    return Relative(
        id=one,
        animal=None,
        standing=None,
        sire=None,
        dam=None,
        male=float(is_sire),
        sires=sires(None, tested=False, earlier=(), beside=()),
        dams=dams(None, tested=False),
    )
