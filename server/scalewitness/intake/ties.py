"""What ties one person to an animal, for whether a call of theirs is blind and without interest."""

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeAlias
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.animals.models import Collection as AnimalCollection
from scalewitness.animals.queries import animals_of, homes_of, stewarded_ids
from scalewitness.animals.queries.grants import awaited_among, opened
from scalewitness.animals.queries.joining import ever_joined
from scalewitness.breeding.queries.uses import informed_by_use
from scalewitness.calls.queries.bearing import read_elsewhere
from scalewitness.calls.queries.made import called_on
from scalewitness.people.models import Grant
from scalewitness.people.queries import grants_ever
from scalewitness.sales.queries import parties_to_sales
from scalewitness.standings.queries.awaited import deaths_of, died_for

Homes: TypeAlias = Mapping[UUID, datetime | None]
"""The collections an animal is or was in, and when it left them."""


@dataclass(slots=True)
class Tie:
    """What ties one person to an animal. Keeper or partner (``steward``), or else: ``party``
    to a sale of it, ever; whether they ever ``kept`` it in a collection of theirs, or
    ``called`` on it, be it by another's report, or were ``informed`` of its sex by its use as a
    parent or a mate, both read only where a blind grant covered it; its ``homes``, and all
    ``grants`` that ever covered it for them. ``died``: from when on what others found of it was not
    kept still for them any more, as it was said to have died."""

    steward: bool = False
    party: bool = False
    kept: bool = False
    called: bool = False
    informed: bool = False
    homes: Homes = field(default_factory=dict)
    grants: Sequence[Grant] = ()
    died: datetime | None = None

    @property
    def interested(self) -> bool:
        """Whether they are keeper, partner or a party to any sale of the animal."""
        return self.steward or self.party

    def blind_on(self, at: datetime) -> bool:
        """Whether nothing in the record had told them by then what the animal is taken for.

        True only for a guest whose every grant on it was blind, who has no call on it yet,
        never kept it and was not told by its use (`domain.uses`). Collections it has left
        count as well.
        """
        if self.steward or self.kept or self.called or self.informed or not self.grants:
            return False
        is_past_its_death = self.died is not None and at > self.died
        return not is_past_its_death and all(grant.blind for grant in self.grants)


def ties_of_others(
    person: UUID,
    animals: Sequence[Animal],
    party_to: Set[str],
    now: datetime,
    came: datetime | None = None,
) -> dict[UUID, Tie]:
    """Of somebody who does not keep these animals, to them and to other records of the same
    snakes: whoever was told of one of these is told. ``party_to``: those of the animals that they
    have part in a sale of; ``came``: when their call came in, where that was before ``now``."""
    ties = _to_records(person, animals, party_to, now, came)
    blind = [one for one, tie in ties.items() if any(grant.blind for grant in tie.grants)]
    for one in read_elsewhere(person, blind):
        ties[one].called = True
    others = ever_joined(ties)
    if others:
        _add_others(person, ties, others, now)
    return ties


def _add_others(
    person: UUID, ties: Mapping[UUID, Tie], others: Mapping[UUID, Set[UUID]], now: datetime
) -> None:
    """Once joined is joined for ever, here: what somebody was told they know."""
    found = animals_of(one for same in others.values() for one in same)
    keeps = stewarded_ids(person, now)
    sold = parties_to_sales(found).get(person, set())
    to_others = _to_records(person, list(found.values()), sold, now)
    called = called_on(person, list(found))
    informed = informed_by_use([person], list(found), now).get(person, set())
    for animal, same in others.items():
        tie = ties[animal]
        for one in same & found.keys():
            other = to_others[one]
            is_kept = found[one].collection_id in keeps
            tie.party |= other.party or is_kept
            tie.kept |= other.kept or is_kept
            tie.called |= one in called
            tie.informed |= one in informed or any(not grant.blind for grant in other.grants)


def _to_records(
    person: UUID,
    animals: Sequence[Animal],
    party_to: Set[str],
    now: datetime,
    came: datetime | None = None,
) -> dict[UUID, Tie]:
    homes = homes_of(animals)
    inside = {one for collections in homes.values() for one in collections}
    held = AnimalCollection.objects.filter(pk__in=inside, keeper=person)
    kept = set(held.values_list("pk", flat=True))
    given = grants_ever(person, homes)
    # Of the others nobody asks whether they were told: no check of theirs is a blind one.
    blind = [one for one, found in given.items() if any(grant.blind for grant in found)]
    grants = opened(given, awaited_among(person, blind, now), came)
    called = called_on(person, blind)
    informed = informed_by_use([person], blind, now).get(person, ())
    deaths = deaths_of(one for one, found in grants.items() if found)
    return {
        one: Tie(
            party=str(one) in party_to,
            kept=not kept.isdisjoint(home),
            called=one in called,
            informed=one in informed,
            homes=home,
            grants=grants[one],
            died=died_for(deaths.get(one, ()), grants[one]),
        )
        for one, home in homes.items()
    }
