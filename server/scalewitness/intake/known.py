"""What a batch's calls are judged by, read for all of their animals at once.

Whoever holds the log's lock is the only writer. So what was read stays true until the batch
itself writes: a call is added here as it is taken, after anything else all is read anew.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from functools import cached_property
from typing import TypeAlias
from uuid import UUID

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import codes_of, homes_of, stewarded_collections, weights_on
from scalewitness.calls.models import Call
from scalewitness.calls.queries.evidence import evidence_by_animal
from scalewitness.calls.queries.linkage import starts_of
from scalewitness.calls.queries.standings import (
    Yardstick,
    label_of,
    latest_standings,
    yardstick,
)
from scalewitness.domain.consequences import sex_of
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.case import Case, Standing, Supposed, case_of
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.stated_linkage import Start
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.domain.sexing.what_if import favoured_by
from scalewitness.people.models import Grant
from scalewitness.people.queries import grants_ever
from scalewitness.sales.queries import parties_to_sales

Homes: TypeAlias = Mapping[UUID, datetime | None]
"""The collections an animal is or was in, and when it left them."""


@dataclass(slots=True)
class Tie:
    """What ties one person to an animal. ``grants``: all that ever covered it for them;
    ``kept``: it is or was in a collection of theirs; ``party``: to a sale of it, ever;
    ``called``: they sent a call on it."""

    steward: bool = False
    kept: bool = False
    party: bool = False
    called: bool = False
    grants: Sequence[Grant] = ()

    @property
    def interested(self) -> bool:
        """Whether they are keeper, partner or a party to any sale of the animal."""
        return self.steward or self.party

    @property
    def blind(self) -> bool:
        """Whether nothing in the record ever told them an earlier call on the animal.

        True only for a guest whose every grant on it was blind, who has no call on it yet
        and never kept it; collections it has left count as well.
        """
        if self.kept or self.called or not self.grants:
            return False
        return all(grant.blind for grant in self.grants)


@dataclass
class Subject:
    """An animal that calls are about. ``counting``: the calls that count, in log order."""

    animal: Animal
    homes: Homes
    codes: set[str]
    label: str
    start: Start
    counting: list[Evidence]
    by: Yardstick
    in_sales: bool
    tie: Tie

    @cached_property
    def _case(self) -> Case:
        kind, numbers = taxon(self.animal.species, self.by.parameters), self.by.parameters
        priors = self.start.male, self.start.pessimistic
        return case_of(self.counting, kind, self.by.records, load_parameters(numbers), *priors)

    def add(self, call: Evidence) -> None:
        """A call of the actor's is taken."""
        case = self._case.plus(Supposed(call))
        self.counting.append(call)
        self.__dict__["_case"] = case
        self.tie.called = True

    def standing(self) -> Standing:
        """What the calls that count come to."""
        return self._case.standing(self.by.policy)

    def expected(self) -> Sex | None:
        """The sex someone who can see the record would expect, for anchoring: the one the
        standing names, else that of the latest conclusive call still counting, else the one
        that a statement of linkage favours."""
        named = sex_of(self.label)
        if named is not None:
            return named
        for call in reversed(self.counting):
            if call.conclusion != "undetermined":
                return call.conclusion
        return favoured_by(self.start.male)


@dataclass
class Known:
    """The animals of one batch, as one person who sends calls is tied to them."""

    person: UUID | None
    now: datetime
    _expected: dict[UUID, list[datetime]] = field(default_factory=dict)
    _subjects: dict[UUID, Subject] = field(default_factory=dict)
    _weights: dict[tuple[UUID, datetime], Decimal | None] = field(default_factory=dict)

    def expect(self, calls: Iterable[tuple[UUID, datetime]]) -> None:
        """Say which animals calls will be about, and when they were examined."""
        for animal, at in calls:
            self._expected.setdefault(animal, []).append(at)

    def forget(self) -> None:
        """Something else than a call was written."""
        self._subjects.clear()
        self._weights.clear()

    def weighed(self) -> None:
        """A weight was noted, and nothing else."""
        self._weights.clear()

    def of(self, animal: UUID) -> Subject | None:
        """The animal, None where there is none; its row is read with its collection."""
        if animal not in self._subjects:
            self._read({animal, *self._expected} - self._subjects.keys())
        return self._subjects.get(animal)

    def weight_on(self, animal: UUID, at: datetime) -> Decimal | None:
        """What it weighed last at that time, in grams."""
        if (animal, at) not in self._weights:
            due = [(one, when) for one, times in self._expected.items() for when in times]
            asked = list({(animal, at), *due})
            self._weights = dict(zip(asked, weights_on(asked), strict=True))
        return self._weights[animal, at]

    def _read(self, ids: Iterable[UUID]) -> None:
        found = Animal.objects.select_related("collection__keeper").in_bulk(list(ids))
        homes, sold = homes_of(found.values()), parties_to_sales(found)
        in_sales = {one for animals in sold.values() for one in animals}
        ties = self._ties(found.values(), homes, sold)
        by = yardstick()
        starts, counting = starts_of(found.values(), by.parameters), evidence_by_animal(found)
        standings, codes = latest_standings(found), codes_of(found)
        for key, animal in found.items():
            self._subjects[key] = Subject(
                animal=animal,
                homes=homes[key],
                codes=codes.get(key, set()),
                label=label_of(standings.get(key)),
                start=starts[key],
                counting=counting.get(key, []),
                by=by,
                in_sales=str(key) in in_sales,
                tie=ties[key],
            )

    def _ties(
        self, animals: Iterable[Animal], homes: Mapping[UUID, Homes], sold: Mapping[UUID, set[str]]
    ) -> dict[UUID, Tie]:
        if self.person is None:
            return {animal.pk: Tie() for animal in animals}
        inside = {one for collections in homes.values() for one in collections}
        held = Collection.objects.filter(pk__in=inside, keeper=self.person)
        kept = set(held.values_list("pk", flat=True))
        stewarded = {one.pk for one in stewarded_collections(self.person, self.now)}
        called = Call.objects.filter(animal__in=homes.keys(), by=self.person)
        have_called = set(called.values_list("animal", flat=True))
        grants = grants_ever(self.person, homes)
        return {
            animal.pk: Tie(
                steward=animal.collection_id in stewarded,
                kept=not kept.isdisjoint(homes[animal.pk]),
                party=str(animal.pk) in sold.get(self.person, ()),
                called=animal.pk in have_called,
                grants=grants[animal.pk],
            )
            for animal in animals
        }
