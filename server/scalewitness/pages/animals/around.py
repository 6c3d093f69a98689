"""Other animals that one has to do with, as far as a reader who sees it whole may know of them: its
parents, mates, and records that bear its number or are of the same snake."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from django.db.models import prefetch_related_objects

from scalewitness.animals.models import Animal, Joining
from scalewitness.animals.queries.transponders import also_on
from scalewitness.breeding.queries.pairings import PairingSeen, as_seen, paired_in, pairings_of
from scalewitness.calls.queries.bearing import ALONE, bearings
from scalewitness.calls.queries.visibility import Reader, VisibleParents, seen_animals
from scalewitness.pages.animals.transponders import SharedNumber, shared_number, titled
from scalewitness.standings.queries.dossier import Dossier

ROLES: Final = ("sire", "dam")
Parents = Mapping[str, UUID | None]
"""``sire`` and ``dam``, None where there is none or the reader may not be told."""


@dataclass(frozen=True, slots=True)
class Around:
    """``steward``: the reader holds the animal; ``named``: those of the parents that they see
    whole; ``elsewhere``: its number is another record's; ``others``: of the same snake, as far as
    the reader sees them whole, each with its title."""

    steward: bool
    parents: Parents
    named: Mapping[str, Animal]
    pairings: Sequence[PairingSeen]
    elsewhere: bool
    shared: SharedNumber | None
    others: Sequence[tuple[Animal, str]]


def around_it(case: Dossier, asked: Joining | None, reader: Reader) -> Around:
    """All of them are read together, and the identifiers of all with the animal's own. ``asked``:
    what waits for its keeper."""
    animal, same = case.animal, case.basis.same - {case.animal.pk}
    steward = animal.collection_id in reader.holds
    bearing = bearings([animal.pk], {animal.pk: same}).get(animal.pk)
    bearers = also_on(animal.pk) - same if bearing and steward else frozenset()
    planned = pairings_of(reader, [animal.pk])
    wanted = {one for one in (animal.sire, animal.dam) if one}
    wanted |= paired_in(planned) | bearers | same
    seen = seen_animals(reader.keeper, wanted, reader.now)
    prefetch_related_objects([animal, *(one for one, _ in seen.values())], "identifiers")
    whole = {one: found for one, (found, sight) in seen.items() if sight == "all"}
    sights = {one: sight for one, (_, sight) in seen.items()}
    shown = VisibleParents(reader, sights).shown(animal.collection_id, animal.sire, animal.dam)
    parents = dict(zip(ROLES, shown, strict=True))
    elsewhere = (bearing or ALONE).elsewhere
    return Around(
        steward=steward,
        parents=parents,
        named={role: whole[one] for role, one in parents.items() if one in whole},
        pairings=list(as_seen(planned, reader, seen)),
        elsewhere=elsewhere,
        shared=shared_number(bearers, elsewhere, asked, whole) if steward else None,
        others=titled(same, whole),
    )
