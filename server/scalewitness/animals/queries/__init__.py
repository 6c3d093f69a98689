"""Reading animals. Who may see how much of one, `calls.queries` decides."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any, TypeAlias, TypeVar
from uuid import UUID

from django.db.models import OuterRef, Q, QuerySet, Subquery

from scalewitness.animals.models import (
    Animal,
    Collection,
    Custody,
    Husbandry,
    Identifier,
    Photo,
)
from scalewitness.animals.queries.grants import active_grants, is_partner
from scalewitness.domain.errors import NotFound
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.prepared import (
    Prepared,
    PreparedQuery,
    any_of,
    asked,
    columns,
    maker,
)
from scalewitness.people.models import Grant

Moment: TypeAlias = tuple[UUID, datetime]
"""An animal at a time."""

Found = TypeVar("Found")


@dataclass(frozen=True, slots=True)
class LastNoted:
    """What matters before a check: last weight, meal, shed and health note."""

    grams: Decimal | None
    weighed_at: datetime | None
    fed_at: datetime | None
    shed: str | None
    health: str | None


NOTHING_NOTED = LastNoted(None, None, None, None, None)


@dataclass(frozen=True, slots=True)
class Edit:
    """One edit of an animal's record: the version it made, and what was and is now."""

    version: int
    at: datetime
    by: UUID | None
    fields: dict[str, tuple[Any, Any]]


def animal_of(animal: UUID) -> Animal | None:
    return Animal.objects.select_related("collection").filter(pk=animal).first()


def animals_in(collection: Collection, animals: Iterable[UUID]) -> list[Animal]:
    """Those of the animals that are in the collection now, by id, without those that ended."""
    here = Animal.objects.filter(collection=collection, pk__in=list(animals), ended="")
    return list(here.order_by("pk"))


def is_steward(keeper: UUID | None, collection: Collection, now: datetime) -> bool:
    """Whether the keeper holds the collection or is a partner in it."""
    if keeper is None:
        return False
    return collection.keeper_id == keeper or is_partner(keeper, collection.pk, now)


def for_steward(
    found: Found | None,
    collection: Callable[[Found], Collection],
    keeper: UUID | None,
    now: datetime,
    *,
    pointer: str | None = None,
) -> Found:
    """What was looked up, for somebody who holds its collection or is a partner in it.

    Raises:
        NotFound: there is none, or it is in somebody else's collection: the two look alike.
    """
    if found is None or not is_steward(keeper, collection(found), now):
        raise NotFound(pointer=pointer)
    return found


def collection_of(collection: UUID) -> Collection | None:
    return Collection.objects.select_related("keeper").filter(pk=collection).first()


def collection_of_grant(grant: Grant | None, keeper: UUID | None) -> UUID | None:
    """The collection it is a grant in, if the keeper may end it: who holds it and who gave it."""
    if grant is None:
        return None
    collection = collection_of(grant.collection)
    giver = collection.keeper_id if collection else None
    return grant.collection if keeper in {grant.to_id, giver} else None


def collections_by_id(ids: Iterable[UUID]) -> dict[UUID, Collection]:
    return Collection.objects.in_bulk(list(ids))


def lender_of(animal: UUID) -> UUID | None:
    """The collection that an animal is on loan from, None where it is on none."""
    return lenders_of([animal]).get(animal)


def lenders_of(animals: Iterable[UUID]) -> dict[UUID, UUID]:
    """The same of each that is on loan."""
    last = Custody.objects.filter(animal__in=list(animals)).order_by("animal", "-position")
    rows = last.distinct("animal").values_list("animal", "came_from", "why")
    return {animal: came_from for animal, came_from, why in rows if why == "loaned"}


def collections_of(keeper: UUID) -> list[Collection]:
    return list(Collection.objects.filter(keeper=keeper).order_by("name", "pk"))


def stewarded_collections(keeper: UUID, now: datetime) -> list[Collection]:
    """Collections the keeper holds or is a partner in, own ones first, then by name."""
    found = stewarded(keeper, now).select_related("keeper")
    return sorted(found, key=lambda one: (one.keeper_id != keeper, one.name, one.pk))


def stewarded_ids(keeper: UUID, now: datetime) -> set[UUID]:
    """Collections the keeper holds or is a partner in, by id."""
    return {one for (one,) in STEWARDED.ask(keeper=keeper, now=now)}


def stewarded(keeper: UUID, now: datetime) -> QuerySet[Collection]:
    """Collections the keeper holds or is a partner in, for queries to go on from."""
    partner = active_grants(keeper, now).filter(role="partner", whole=True)
    return held_or_granted(keeper, partner)


def held_or_granted(keeper: UUID, grants: QuerySet[Grant]) -> QuerySet[Collection]:
    """Collections that the keeper holds, and those of ``grants`` to them."""
    return Collection.objects.filter(Q(keeper=keeper) | Q(pk__in=grants.values("collection")))


STEWARDED = Prepared(
    lambda keeper, now: stewarded(keeper, now).values_list("pk"),
    keeper=UUID(int=1),
    now=datetime(1, 1, 1, tzinfo=UTC),
)


def latest(animal: UUID, type: str, before: datetime | None = None) -> Husbandry | None:
    notes = Husbandry.objects.filter(animal=animal, type=type)
    if before is not None:
        notes = notes.filter(at__lte=before)
    return notes.order_by("-at", "-position").first()


def notes_of(animal: UUID) -> QuerySet[Husbandry]:
    """Every weight, meal, shed and health note, by when it was."""
    return Husbandry.objects.filter(animal=animal).order_by("at", "position")


def moves_of(animal: UUID) -> QuerySet[Custody]:
    """In log order."""
    return Custody.objects.filter(animal=animal).order_by("position")


def condition(animal: UUID) -> LastNoted:
    return conditions_of([animal])[animal]


def conditions_of(animals: Iterable[UUID]) -> dict[UUID, LastNoted]:
    """The condition of each animal; a meal counts when it was taken."""
    wanted = list(animals)
    notes = NOTES.rows_of(Husbandry, animals=wanted)
    latest_of: dict[UUID, dict[str, Husbandry]] = {animal: {} for animal in wanted}
    for note in notes:
        latest_of[note.animal_id][note.type] = note
    return {animal: _condition(found) for animal, found in latest_of.items()}


def condition_in(notes: Iterable[Husbandry]) -> LastNoted:
    """The condition of the one animal that these are all notes of, by when they were."""
    counted = (one for one in notes if one.type != "meal" or one.noted["taken"])
    return _condition({one.type: one for one in counted})


def health_as_of(animal: UUID, size: int) -> str | None:
    """The health note in force as the log's first ``size`` entries had it."""
    notes = Husbandry.objects.filter(animal=animal, type="health", position__lt=size)
    return notes.order_by("-at", "-position").values_list("noted__sign", flat=True).first()


def _notes(animals: Any) -> QuerySet[Husbandry, Any]:
    rows = any_of(Husbandry.objects.all(), '"animals_husbandry"."animal_id"', animals)
    latest = rows.exclude(type="meal", noted__taken=False)
    latest = latest.order_by("animal", "type", "-at", "-position").distinct("animal", "type")
    return latest.values_list(*columns(Husbandry))


NOTES = Prepared(_notes, animals=(UUID(int=1),))


def _condition(latest_of: Mapping[str, Husbandry]) -> LastNoted:
    weight, meal = latest_of.get("weight"), latest_of.get("meal")
    shed, health = latest_of.get("shed"), latest_of.get("health")
    return LastNoted(
        grams=Decimal(weight.noted["grams"]) if weight else None,
        weighed_at=weight.at if weight else None,
        fed_at=meal.at if meal else None,
        shed=shed.noted["stage"] if shed else None,
        health=health.noted["sign"] if health else None,
    )


def moved_with(animal: UUID) -> set[UUID]:
    """Animals that went the same way within a day of it, at any of its moves."""
    found: set[UUID] = set()
    for move in Custody.objects.filter(animal=animal):
        near = (move.at - TOGETHER, move.at + TOGETHER)
        same = Custody.objects.filter(came_from=move.came_from, went_to=move.went_to)
        found |= set(same.filter(at__range=near).values_list("animal", flat=True))
    return found - {animal}


TOGETHER = timedelta(days=1)


def animals_of(ids: Iterable[UUID]) -> dict[UUID, Animal]:
    """Animals by id, each with its collection."""
    make = animal_maker()
    return {one.pk: one for one in map(make, ANIMALS.ask(animals=list(ids)))}


def animal_maker() -> Callable[[Sequence[Any]], Animal]:
    """Makes animals, each with its collection, from rows that begin with `WITH_COLLECTION`."""
    width, end = len(columns(Animal)), len(WITH_COLLECTION)
    animal, collection = maker(Animal), maker(Collection)
    held: dict[UUID, Collection] = {}

    def make(row: Sequence[Any]) -> Animal:
        made = animal(row[:width])
        if made.collection_id not in held:
            held[made.collection_id] = collection(row[width:end])
        made.collection = held[made.collection_id]
        return made

    return make


WITH_COLLECTION = (*columns(Animal), *(f"collection__{one}" for one in columns(Collection)))
"""All columns of an animal and of the collection that it is in."""


def _animals(animals: Any) -> QuerySet[Animal, Any]:
    rows = Animal.objects.order_by().values_list(*WITH_COLLECTION)
    return any_of(rows, '"animals_animal"."id"', animals)


ANIMALS = Prepared(_animals, animals=(UUID(int=1),))


def codes_of(animals: Iterable[UUID]) -> dict[UUID, set[str]]:
    """All identifier codes by animal, transponders in their bare 15 digits; animals without
    any are absent."""
    found: dict[UUID, set[str]] = {}
    for animal, code in CODES.ask(animals=list(animals)):
        found.setdefault(animal, set()).add(code)
    return found


def _codes(animals: Any) -> QuerySet[Identifier, Any]:
    rows = any_of(Identifier.objects.all(), '"animals_identifier"."animal_id"', animals)
    return rows.values_list("animal", "code")


CODES = Prepared(_codes, animals=(UUID(int=1),))


def identifiers_of(animals: Iterable[UUID]) -> dict[UUID, list[Identifier]]:
    """Identifiers by animal, in the order assigned; animals without any are absent."""
    found: dict[UUID, list[Identifier]] = {}
    for one in MARKS.rows_of(Identifier, animals=list(animals)):
        found.setdefault(one.animal_id, []).append(one)
    return found


def _marks(animals: Any) -> QuerySet[Identifier, Any]:
    rows = any_of(Identifier.objects.all(), '"animals_identifier"."animal_id"', animals)
    return rows.order_by("position").values_list(*columns(Identifier))


MARKS = Prepared(_marks, animals=(UUID(int=1),))


def photo_of(photo: UUID) -> Photo | None:
    return Photo.objects.filter(pk=photo).first()


def photos_of(animal: UUID) -> QuerySet[Photo]:
    """All photos of the animal and of calls on it, in log order; ``has_file`` tells whether
    the file is there."""
    rows = Photo.objects.filter(animal=animal).order_by("position")
    return rows.annotate(has_file=Q(file__isnull=False))


EDITED = ("name", "rack", "description", "hold_off")


def fields_at(record: Animal | Collection, version: int) -> dict[str, Any] | None:
    """The fields that people edit, as a version had them. None where no such version was
    kept, and for an animal also one from before it came to its present collection."""
    rows = record.history.filter(version=version)
    if isinstance(record, Animal):
        rows = rows.filter(collection=record.collection_id)
    names = EDITED if isinstance(record, Animal) else ("name",)
    found: dict[str, Any] | None = rows.order_by("-history_id").values(*names).first()
    return found


def edits_of(animal: Animal) -> list[Edit]:
    """Edits in the order made, since the animal came to its present collection: what an
    earlier keeper wrote for themselves is not the present one's to read."""
    rows = list(animal.history.filter(collection=animal.collection_id).order_by("history_id"))
    pairs = [
        (row, {name: (getattr(before, name), getattr(row, name)) for name in EDITED})
        for before, row in pairwise(rows)
    ]
    return [
        Edit(row.version, row.history_date, row.history_user_id, changed)
        for row, values in pairs
        if (changed := {name: pair for name, pair in values.items() if pair[0] != pair[1]})
    ]


def weights_on(moments: Iterable[Moment]) -> list[Decimal | None]:
    """What each animal weighed last at its moment, in grams; None where nothing was noted."""
    found = asked(*weights_question(moments))
    return [Decimal(grams) if grams else None for (grams,) in found]


def weights_question(moments: Iterable[Moment]) -> PreparedQuery:
    """What `weights_on` asks."""
    return PreparedQuery(WEIGHTS, [[one for one, _ in moments], [when for _, when in moments]])


WEIGHTS = """
SELECT found.grams
FROM unnest(%s::uuid[], %s::timestamptz[]) WITH ORDINALITY AS given (animal, moment, number)
LEFT JOIN LATERAL (
  SELECT noted ->> 'grams' AS grams FROM animals_husbandry
  WHERE animal_id = given.animal AND type = 'weight' AND at <= given.moment
  ORDER BY at DESC, position DESC LIMIT 1) AS found ON true
ORDER BY given.number
"""


def homes_of(animals: Iterable[Animal]) -> dict[UUID, dict[UUID, datetime | None]]:
    """By animal, the collections it is or was in: first the present one, with None, then
    those it left, each with the time at which the record heard that it last did: whoever moves
    an animal could claim any day, and so take it away from under a guest's check."""
    homes: dict[UUID, dict[UUID, datetime | None]] = {
        animal.pk: {animal.collection_id: None} for animal in animals
    }
    heard = Entry.objects.filter(position=OuterRef("position")).values("received_at")
    rows = Custody.objects.filter(animal__in=list(homes)).order_by("position")
    moves = rows.annotate(heard=Subquery(heard))
    for animal, collection, at in moves.values_list("animal", "came_from", "heard"):
        if homes[animal].get(collection, at) is not None:  # else it came back
            homes[animal][collection] = at
    return homes


def title_of(
    animal: Animal, *, named: bool = True, codes: Iterable[Identifier] | None = None
) -> str:
    """What its keepers call an animal, else its first code. ``codes``: those that its reader knows,
    where that is not all."""
    if named and animal.name:
        return animal.name
    known = animal.identifiers.all() if codes is None else codes
    first = min(known, key=lambda one: one.position, default=None)
    return first.code if first else "An animal without a name"
