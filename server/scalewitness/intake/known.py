"""What a batch's calls are judged by, read for all of their animals at once.

Whoever holds the log's lock is the only writer. So what was read stays true until the batch
itself writes: a call is added here as it is taken, after anything else all is read anew. What
was read before the lock was held is used if nothing came in between that bears on it.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Set
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from functools import cached_property
from typing import Any
from uuid import UUID

from msgspec.structs import replace

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import (
    ANIMALS,
    CODES,
    STEWARDED,
    Moment,
    animals_of,
    codes_of,
    stewarded_ids,
    weights_on,
    weights_question,
)
from scalewitness.animals.queries.joining import joined, joined_question
from scalewitness.calls.queries.bearing import ALONE, Bearing, bearings, bearings_question
from scalewitness.domain.consequences import sex_expected
from scalewitness.domain.facts import Footing
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.case import Case, SupposedCase
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.gauge import case_by
from scalewitness.domain.sexing.kept import Before, NextStanding
from scalewitness.domain.sexing.stated_linkage import Start, favoured_by
from scalewitness.intake.holdings import Holdings
from scalewitness.intake.ties import Tie, ties_of_others
from scalewitness.ledger.queries.prepared import PreparedQuery, asked, asked_together, ids_literal
from scalewitness.ledger.queries.tree import HEAD, tip
from scalewitness.people.queries import NAMED, SHARED, named_with, same_person_as
from scalewitness.sales.queries import PARTIES, parties_to_sales
from scalewitness.standings.queries.assessing import Yardstick, settled_by, yardstick
from scalewitness.standings.queries.evidence import COUNTING, evidence_by_snake
from scalewitness.standings.queries.footing import footing_of
from scalewitness.standings.queries.in_force import in_force_question
from scalewitness.standings.queries.linkage import STATED, starts_of
from scalewitness.standings.queries.logged import BEFORE, before
from scalewitness.standings.queries.records import NEWEST

ABOUT_ONE_ANIMAL = (
    "animal_registered",
    "call_held",
    "call_made",
    "husbandry_noted",
    "identifier_assigned",
    "photo_attached",
    "standing_changed",
)
"""Kinds that change nothing but what is known of the animal they are about."""
CAME_IN = """
SELECT EXISTS (SELECT FROM ledger_entry
               WHERE position >= %s AND position < (SELECT size FROM ledger_head)
               AND (about = ANY(%s::uuid[]) OR kind <> ALL(%s)))
"""


@dataclass
class Subject:
    """An animal that calls are about. ``counting``: the calls that count, in log order."""

    animal: Animal
    codes: set[str]
    before: Before
    start: Start
    counting: list[Evidence]
    by: Yardstick
    in_sales: bool
    tie: Tie
    bearing: Bearing = ALONE
    others: Set[UUID] = frozenset()
    """Other records of the same snake, whose calls are among those that count."""
    stood: Sex | None = None
    """The sex verified last, as far as this batch knows."""

    @cached_property
    def case(self) -> Case:
        """The calls that count, weighed."""
        return self._weighed_by(self.by)

    def _weighed_by(self, by: Yardstick) -> Case:
        elsewhere = self.bearing.elsewhere
        species = self.animal.species
        return case_by(by, species, self.counting, self.start, known_elsewhere=elsewhere)

    @property
    def label(self) -> str:
        return self.before.label

    def add(self, call: Evidence) -> None:
        """A call of the actor's is taken."""
        case = self.case.plus(SupposedCase(call))
        self.counting.append(call)
        self.__dict__["case"] = case
        self.tie.called = True

    def count(self, waited: Iterable[Evidence]) -> None:
        """Calls that waited count from here on."""
        counting = {one.call for one in self.counting}
        self.counting += [one for one in waited if one.call not in counting]
        self.__dict__.pop("case", None)

    def tell_apart(self, *, joined: Collection[str], parted: Collection[str]) -> None:
        """Whoever made these calls counts as one with another, or for themselves, from here on."""
        for calls, is_one in ((joined, True), (parted, False)):
            self.counting = [
                replace(one, same_person=is_one) if one.call in calls else one
                for one in self.counting
            ]
        if joined or parted:
            self.__dict__.pop("case", None)

    def standing(self) -> NextStanding:
        """What the calls that count come to, after what was stated before."""
        return settled_by(
            self.by,
            self.before,
            lambda by: self.case if by is self.by else self._weighed_by(by),
        )

    def expected(self) -> Sex | None:
        """The sex someone who can see the record would expect, for anchoring: the one the
        standing names, else that of the latest conclusive call still counting, else the one
        that a statement of linkage favours."""
        latest_first = (call.conclusion for call in reversed(self.counting))
        return sex_expected(self.label, latest_first) or favoured_by(self.start.male)


@dataclass
class Known:
    """The animals of one batch, as one person who sends calls is tied to them. ``came``: when the
    call that is judged now came in, where that was before."""

    person: UUID | None
    now: datetime
    came: datetime | None = None
    _expected: dict[UUID, list[datetime]] = field(default_factory=dict)
    _subjects: dict[UUID, Subject] = field(default_factory=dict)
    _weights: dict[Moment, Decimal | None] = field(default_factory=dict)
    size: int = 0
    """Of the log, when what is known was read."""
    _footing: Footing | None = None
    _others: Set[UUID] | None = None
    _named: Mapping[UUID, Set[UUID]] | None = None
    before_reading: Callable[[], None] = lambda: None
    """What a batch does first, so that what it wrote is found."""
    holdings: Holdings = field(init=False)

    def __post_init__(self) -> None:
        self.holdings = Holdings(self.person, self.now)

    def expect(self, kind: str, about: UUID, at: datetime, body: Mapping[str, Any]) -> None:
        """Say what a fact, not yet checked, will be about, and of when."""
        if kind == "call_made":
            self._expected.setdefault(about, []).append(at)
        else:
            self.holdings.expect(kind, about, body)

    @contextmanager
    def read_ahead(self) -> Iterator[None]:
        """Read what is expected before the lock is held, so that whoever waits for it waits
        for none of that; `is_stale` tells afterwards whether it may be used. It is asked
        for before the block and read after it."""
        if not (self._expected or self.holdings.is_expected):
            yield
            return
        moments = {(one, at) for one, when in self._expected.items() for at in when}
        with asked_together(*self._questions(moments)):
            yield
            self.size = tip().size
            if self._expected:
                self._read(self._expected)
                self._weigh(moments)
                _ = self.footing, self.same_person, self.named
            if self.holdings.is_expected:
                self.holdings.read()
        for subject in self._subjects.values():
            _ = subject.case

    def _questions(self, moments: Collection[Moment]) -> list[PreparedQuery]:
        """What `read_ahead` will ask, for one wait instead of one each; whatever is left out
        or superfluous here costs time, nothing else. How large the log is comes first."""
        first = [HEAD.question(), *self.holdings.questions()]
        if not self._expected:
            return first
        by_animal = (ANIMALS, PARTIES, STATED, COUNTING, BEFORE, CODES)
        ids = ids_literal(self._expected)
        return [
            *first,
            in_force_question(),
            *(one.question(animals=ids) for one in by_animal),
            bearings_question(self._expected),
            joined_question(self._expected),
            *self._questions_of(self.person),
            weights_question(moments),
        ]

    def _questions_of(self, person: UUID | None) -> list[PreparedQuery]:
        if person is None:
            return []
        known = [one.question(keeper=person) for one in (SHARED, NAMED)]
        stewarded = STEWARDED.question(keeper=person, now=self.now)
        return [stewarded, NEWEST.question(), *known]

    @property
    def footing(self) -> Footing:
        """Of the word of the person, now."""
        if self._footing is None:
            self._footing = footing_of(self.person)
        return self._footing

    @property
    def same_person(self) -> Set[UUID]:
        """The accounts that count as one with the person's."""
        if self._others is None:
            self._others = same_person_as(self.person)
        return self._others

    def one_with(self, animal: UUID) -> Set[UUID]:
        """The accounts that count as one with the person's as examiners of the animal."""
        return self.same_person | self.named.get(animal, set())

    @property
    def named(self) -> Mapping[UUID, Set[UUID]]:
        """The accounts that a finding has count as one with the person's, by animal."""
        if self._named is None:
            self._named = named_with(self.person)
        return self._named

    @property
    def is_read(self) -> bool:
        return bool(self._subjects) or self.holdings.is_read

    def is_stale(self) -> bool:
        """Whether an entry that bears on what was read ahead has come in since. Asked under
        the log's lock."""
        return any(stale for one in self.staleness() for (stale,) in asked(*one))

    def staleness(self) -> list[PreparedQuery]:
        """What `is_stale` will ask."""
        others = {one for subject in self._subjects.values() for one in subject.others}
        subjects = self._subjects.keys() | others | self.holdings.subjects()
        if not subjects:
            return []
        values = (self.size, ids_literal(subjects), list(ABOUT_ONE_ANIMAL))
        return [PreparedQuery(CAME_IN, values), *self.holdings.staleness()]

    def heed(self, kind: str, about: UUID) -> None:
        """The batch wrote something else than a call."""
        if kind not in ABOUT_ONE_ANIMAL:
            self.forget()
        elif kind == "husbandry_noted":
            self._weights = {key: value for key, value in self._weights.items() if key[0] != about}
        elif kind == "identifier_assigned":
            self._subjects.pop(about, None)

    def forget(self) -> None:
        """Have everything read anew."""
        self._subjects.clear()
        self._weights.clear()
        self._footing = self._others = self._named = None
        self.holdings.forget()

    def rivals_read(self, animal: UUID) -> Set[UUID]:
        """Others that bear a number of its, where it was read already."""
        found = self._subjects.get(animal)
        return found.bearing.rivals if found else frozenset()

    def afresh(self, animal: UUID) -> Subject | None:
        """As :meth:`of`; read anew where it hangs on other records, which know nothing of it."""
        found = self.of(animal)
        if found is None or not (found.others or found.bearing.rivals):
            return found
        del self._subjects[animal]
        return self.of(animal)

    def of(self, animal: UUID) -> Subject | None:
        """The animal, None where there is none; its row is read with its collection."""
        if animal not in self._subjects:
            self.before_reading()
            self._read({animal, *self._expected} - self._subjects.keys())
        return self._subjects.get(animal)

    def by_grants(self, person: UUID, animal: Animal) -> Tie:
        """As of somebody who does not keep it."""
        self.before_reading()
        sold = parties_to_sales([animal.pk]).get(person, set())
        return ties_of_others(person, [animal], sold, self.now, self.came)[animal.pk]

    def weight_on(self, animal: UUID, at: datetime) -> Decimal | None:
        """What it weighed last at that time, in grams."""
        if (animal, at) not in self._weights:
            self.before_reading()
            self._weigh({(animal, at)})
        return self._weights[animal, at]

    def _weigh(self, moments: Collection[Moment]) -> None:
        self._weights |= zip(moments, weights_on(moments), strict=True)

    def _read(self, ids: Iterable[UUID]) -> None:
        found = animals_of(ids)
        if not found:
            return
        sold, by = parties_to_sales(found), yardstick()
        ties = self._ties(found.values(), sold)
        same = joined(found)
        starts, counting = starts_of(found.values(), by.numbers), evidence_by_snake(found, same)
        standing, codes, bearing = before(found), codes_of(found), bearings(found)
        in_sales = {one for animals in sold.values() for one in animals}
        for key, animal in found.items():
            self._subjects[key] = Subject(
                animal=animal,
                codes=codes.get(key, set()),
                before=standing.get(key, Before()),
                start=starts[key],
                counting=counting.get(key, []),
                by=by,
                in_sales=str(key) in in_sales,
                tie=ties[key],
                bearing=bearing.get(key, ALONE),
                others=same.get(key, frozenset()),
            )

    def _ties(self, animals: Iterable[Animal], sold: Mapping[UUID, set[str]]) -> dict[UUID, Tie]:
        if self.person is None:
            return {animal.pk: Tie() for animal in animals}
        stewarded = stewarded_ids(self.person, self.now)
        listed = list(animals)
        own = {animal.pk for animal in listed if animal.collection_id in stewarded}
        ties = {animal: Tie(steward=True) for animal in own}
        if others := [animal for animal in listed if animal.pk not in own]:
            part = sold.get(self.person, set())
            ties |= ties_of_others(self.person, others, part, self.now, self.came)
        return ties
