"""The pedigree as one reader may see it: nothing in it rests on an animal that they may not see.

A parent of whom they are told, and whom they may not see, stands in it without anything of its own:
half siblings stay half siblings. One of whom they are not told is an unknown animal.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import animals_of
from scalewitness.breeding.queries.descent import Descent, known_descent, related
from scalewitness.breeding.queries.parentage import Mates, mates_of, tested_young
from scalewitness.calls.queries.visibility import Reader, reader_of
from scalewitness.domain.parents import OWN_ANCESTOR, Chances, dams, sires
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.logged import latest_standings


@dataclass(frozen=True, slots=True)
class Relative:
    """One animal of a pedigree. ``animal`` None: the reader is told that it is a parent, and may
    not see it. ``male``: the chance of that, plainly; ``sires``, ``dams``: who its parents may
    be; ``alone``: a test says that its dam had it without a male."""

    id: UUID
    animal: Animal | None
    standing: Standing | None
    sire: UUID | None
    dam: UUID | None
    male: float
    sires: Chances
    dams: Chances
    alone: bool = False


@dataclass(frozen=True, slots=True)
class PedigreeSeen:
    """All that the reader may know to be related to some animals, by id."""

    reader: Reader
    relatives: Mapping[UUID, Relative]


def pedigree_for(keeper: UUID, now: datetime, *, among: Iterable[UUID]) -> PedigreeSeen:
    """Of those of the animals that the reader sees whole, and of all that are related to them."""
    reader = reader_of(keeper, now)
    descents = known_descent(reader)
    wanted = related(descents, [one for one in among if one in descents])
    seen = wanted & descents.keys()
    animals, standings = animals_of(seen), latest_standings(seen)
    mates, tests = mates_of(descents, wanted, reader), tested_young(descents, wanted)
    fathers = {descent.sire for descent in descents.values()}
    relatives = {
        one: _seen(animals[one], descents[one], standings.get(one), mates, tests) for one in seen
    } | {one: _known_of(one, one in fathers) for one in wanted - seen}
    return PedigreeSeen(reader, relatives)


def _seen(
    animal: Animal,
    descent: Descent,
    standing: Standing | None,
    mates: Mates,
    tests: Mapping[UUID, Collection[UUID]],
) -> Relative:
    tested = {one: animal.pk in tests.get(one, ()) for one in descent.parents}
    sired = bool(descent.sire and tested[descent.sire])
    borne = bool(descent.dam and tested[descent.dam])
    return Relative(
        id=animal.pk,
        animal=animal,
        standing=standing,
        sire=descent.sire,
        dam=descent.dam,
        male=float(standing.p_male) if standing else 0.5,
        sires=OWN_ANCESTOR
        if descent.looped
        else sires(
            descent.sire, tested=sired, earlier=mates.earlier(descent), beside=mates.beside(descent)
        ),
        dams=OWN_ANCESTOR if descent.looped else dams(descent.dam, tested=borne),
        alone=borne and descent.sire is None,
    )


def _known_of(one: UUID, is_sire: bool) -> Relative:
    """Of whom nothing is told but that it is a parent, and which."""
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
