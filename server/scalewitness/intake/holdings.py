"""What facts about keeping are judged by, read for all of a batch at once: the animals they are
about, the collections these are in, and how the sender is tied to them.

As with what calls are judged by (`intake.known`), what was read stays true while the log belongs
to the batch, but for what it says itself, which is added here.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import ANIMALS, STEWARDED, animals_of, stewarded_ids
from scalewitness.animals.queries import collections_by_id as read_collections
from scalewitness.animals.queries.transponders import (
    borne_question,
    first_bearers,
    first_bearers_question,
    number_of,
)
from scalewitness.calls.queries.visibility import SIGHTS, sights_of
from scalewitness.ledger.queries.prepared import PreparedQuery, asked, ids_literal

USED = """
SELECT id FROM unnest(%s::uuid[]) AS given (id)
WHERE EXISTS (SELECT FROM ledger_entry WHERE ledger_entry.fact = given.id)
   OR EXISTS (SELECT FROM ledger_entry WHERE ledger_entry.about = given.id)
   OR EXISTS (SELECT FROM animals_collection WHERE animals_collection.id = given.id)
   OR EXISTS (SELECT FROM sales_sale WHERE sales_sale.id = given.id)
"""
"""Those of the ids that stand for something."""


@dataclass
class Holdings:
    """Of one person, at one time."""

    person: UUID | None
    now: datetime
    _about: set[UUID] = field(default_factory=set)
    _noted: set[UUID] = field(default_factory=set)
    _new: set[UUID] = field(default_factory=set)
    _rooms: set[UUID] = field(default_factory=set)
    _animals: dict[UUID, Animal] = field(default_factory=dict)
    _collections: dict[UUID, Collection] = field(default_factory=dict)
    _stewarded: set[UUID] = field(default_factory=set)
    _seen: set[UUID] = field(default_factory=set)
    _used: set[UUID] = field(default_factory=set)
    _numbers: set[str] = field(default_factory=set)
    _bearers: dict[str, UUID] = field(default_factory=dict)
    _formerly: dict[str, UUID] = field(default_factory=dict)
    is_read: bool = False

    def expect(self, kind: str, about: UUID, body: Mapping[str, Any]) -> None:
        """Say what a fact, not yet checked, will be about."""
        if kind == "animal_registered":
            self._new.add(about)
            self._rooms |= {UUID(body["collection"])}
        elif kind in {"identifier_assigned", "husbandry_noted"}:
            self._about.add(about)
            self._noted |= {about} if kind == "husbandry_noted" else set()
        if kind == "identifier_assigned" and (number := number_of(body["scheme"], body["code"])):
            self._numbers.add(number)

    @property
    def is_expected(self) -> bool:
        return bool(self._about or self._new)

    def questions(self) -> list[PreparedQuery]:
        """What reading them will ask."""
        if not self.is_expected or self.person is None:
            return []
        who = {"keeper": self.person, "now": self.now}
        questions = [ANIMALS.question(animals=list(self._about)), STEWARDED.question(**who)]
        if self._noted:
            questions.append(SIGHTS.question(animals=list(self._noted), **who))
        if self._new:
            questions.append(PreparedQuery(USED, [ids_literal(self._new)]))
        if self._numbers:
            questions.append(first_bearers_question(self._numbers))
        return questions

    def staleness(self) -> list[PreparedQuery]:
        """Asks, of ids that stood for nothing and numbers that none bore, whether that is so."""
        if not self.is_read:
            return []
        new, unborne = self._new - self._used, self._numbers - self._bearers.keys()
        used = [PreparedQuery(USED, [ids_literal(new)])] if new else []
        return [*used, *([borne_question(unborne)] if unborne else [])]

    def subjects(self) -> set[UUID]:
        """What was read and would be told otherwise if something were said of it."""
        return self._about | self._new if self.is_read else set()

    def read(self) -> None:
        """Once, until forgotten."""
        if self.is_read or self.person is None:
            return
        self._animals = animals_of(self._about)
        self._collections = {one.collection_id: one.collection for one in self._animals.values()}
        self._stewarded = stewarded_ids(self.person, self.now)
        if missing := self._rooms - self._collections.keys():
            self._collections |= read_collections(missing)
        self._seen = set(sights_of(self.person, self._noted, self.now))
        self._used = (
            {one for (one,) in asked(USED, [ids_literal(self._new)])} if self._new else set()
        )
        self._bearers, self._formerly = first_bearers(self._numbers) if self._numbers else ({}, {})
        self.is_read = True

    def animal(self, animal: UUID) -> Animal | None:
        """With its collection; None where there is none."""
        self.read()
        return self._animals.get(animal)

    def seen(self, animal: UUID) -> Animal | None:
        """The animal, if the person may see it at all."""
        found = self.animal(animal)
        if found is None or not (self.keeps(found.collection_id) or animal in self._seen):
            return None
        return found

    def collection(self, collection: UUID) -> Collection | None:
        self.read()
        return self._collections.get(collection)

    def keeps(self, collection: UUID) -> bool:
        """Whether they hold the collection or are a partner in it."""
        self.read()
        return collection in self._stewarded

    def is_used(self, thing: UUID) -> bool:
        """Whether the id of a new thing stood for something before the batch."""
        self.read()
        return thing in self._used

    def first_bearer(self, number: str, animal: UUID) -> UUID:
        """The animal that bears it for longest, now that ``animal`` does too."""
        self.read()
        return self._bearers.setdefault(number, animal)

    def former_bearer(self, number: str) -> UUID | None:
        """The animal that bore it last, where none did before the batch."""
        return self._formerly.get(number)

    def add(self, animal: Animal) -> None:
        """It was registered just now."""
        self._animals[animal.pk] = animal

    def forget(self) -> None:
        """Have everything read anew."""
        self.is_read = False
