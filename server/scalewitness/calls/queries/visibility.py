"""The one visibility query: every read of an animal passes through here.

``all``: the keeper may see everything about the animal. ``blind``: a guest who has not
yet given their own call on this visit sees what identifies the animal and what matters
for its welfare, and nothing that could tell its sex.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final, Literal, TypeAlias, TypedDict
from uuid import UUID

from django.db.models import Case, Exists, ExpressionWrapper, OuterRef, Q, QuerySet, Value, When
from django.db.models.fields import BooleanField, CharField

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import (
    WITH_COLLECTION,
    animal_maker,
    held_or_granted,
    stewarded_collections,
)
from scalewitness.animals.queries.grants import (
    active_grants,
    awaited_among,
    awaited_checks,
    held_in_at,
)
from scalewitness.calls.models import Call
from scalewitness.domain.errors import NotFound
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.prepared import Prepared, PreparedExpression, any_of
from scalewitness.people.models import Grant, GrantAnimal
from scalewitness.people.queries import covering

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

Sight = Literal["all", "blind"]
Seen: TypeAlias = dict[UUID, tuple[Animal, Sight]]
Parents = tuple[UUID | None, UUID | None]
"""Sire and dam, each None where there is none or it may not be told."""


class WithSight(TypedDict):
    sight: Sight


@dataclass(frozen=True, slots=True)
class Point:
    """The log's first ``size`` entries, at a moment: all that sight depends on."""

    size: int
    at: datetime


def visible_animals(keeper: UUID, now: datetime) -> "QuerySet[WithAnnotations[Animal, WithSight]]":
    """Animals the keeper may see now, each annotated with ``sight``.

    Order is by id alone: no order that follows sex, standing or activity.
    """
    return _visible(keeper, now, None)


def sights_of(keeper: UUID, animals: Iterable[UUID], now: datetime) -> dict[UUID, Sight]:
    """How much the keeper may see of these animals now; those they may not see are left out.

    The query of :func:`visible_animals`, put into SQL once: it is asked with every page of
    the feed.
    """
    wanted = list(animals)
    return dict(SIGHTS.ask(keeper=keeper, now=now, animals=wanted)) if wanted else {}


def _sights(keeper: UUID, now: datetime, animals: Any) -> "QuerySet[Animal, Any]":
    rows = visible_animals(keeper, now).order_by().values_list("pk", "sight")
    return any_of(rows, '"animals_animal"."id"', animals)


SIGHTS = Prepared(
    _sights, keeper=UUID(int=1), now=datetime(1, 1, 1, tzinfo=UTC), animals=(UUID(int=2),)
)


def sights_at(keeper: UUID, animals: Iterable[UUID], point: Point) -> dict[UUID, Sight]:
    """How much the keeper could see of these animals at a past point; those that they could
    not see are left out."""
    seen = _visible(keeper, point.at, point.size).filter(pk__in=list(animals))
    return dict(seen.values_list("pk", "sight"))


def _visible(
    keeper: UUID, now: datetime, size: int | None
) -> "QuerySet[WithAnnotations[Animal, WithSight]]":
    """``size`` None: as things are. Else as the log's first ``size`` entries had them: grants,
    their ends, moves and calls are never edited, so leaving out the later ones is enough."""
    animals: QuerySet[Animal]
    sight: Any
    if size is None:
        # Known before any animal is looked at, so that not all of the record are judged.
        animals = Animal.objects.filter(WITHIN_REACH.of(keeper=keeper, now=now))
        sight = SIGHT.of(keeper=keeper, now=now)
    else:
        animals = Animal.ever.filter(_registered(size)).annotate(held_in=held_in_at(size))
        sight = _sight(keeper, now, size)
    seen = animals.select_related("collection").annotate(sight=sight)
    return seen.exclude(sight="none").order_by("pk")


def _sight(keeper: UUID, now: datetime, size: int | None = None) -> Case:
    calls = Call.objects.filter(animal=OuterRef(OuterRef("pk")), by=keeper, visit=OuterRef("pk"))
    held_in, kept = "collection_id", Q(collection__keeper=keeper)
    if size is not None:
        calls = calls.filter(position__lt=size)
        held_in, kept = "held_in", Q(held_in__in=Collection.objects.filter(keeper=keeper))
    grants = covering(active_grants(keeper, now, size), collection=held_in)
    opened = grants.filter(Q(blind=False) | Exists(calls))
    return Case(
        When(kept | Exists(opened), then=Value("all")),
        When(Exists(grants), then=Value("blind")),
        default=Value("none"),
        output_field=CharField(),
    )


def _within_reach(keeper: UUID, now: datetime) -> Any:
    within = held_or_granted(keeper, active_grants(keeper, now))
    return ExpressionWrapper(Q(collection__in=within), BooleanField())


STAND_INS: Final = {"keeper": UUID(int=1), "now": datetime(1, 1, 1, tzinfo=UTC)}
SIGHT = PreparedExpression(
    _sight, Animal, ("pk", "collection", "collection__keeper"), CharField(), **STAND_INS
)
WITHIN_REACH = PreparedExpression(
    _within_reach, Animal, ("collection",), BooleanField(), **STAND_INS
)


def _registered(size: int) -> Q:
    """And not in error."""
    before = Entry.objects.filter(about=OuterRef("pk"), position__lt=size)
    in_error = before.filter(kind="registered_in_error")
    return Q(Exists(before.filter(kind="animal_registered"))) & ~Q(Exists(in_error))


def animals_ahead(keeper: UUID, visit: UUID, now: datetime) -> list[Animal]:
    """Animals that the keeper will see once this accepted visit of theirs opens, by id; none
    when it is open, ended, or somebody else's.

    Those that ended are left out. It is no sight yet: whoever hands these over tells what a
    blind guest may know, and no more, also where the visit is not blind.
    """
    coming = Grant.objects.filter(pk=visit, to=keeper, end=None, opens__gt=now)
    within = Animal.objects.filter(collection__in=coming.values("collection"), ended="")
    return list(within.filter(Exists(covering(coming))).order_by("pk"))


def animal_seen(keeper: UUID, animal: UUID, now: datetime) -> tuple[Animal, Sight]:
    """One animal and how much of it the keeper may see.

    Raises:
        NotFound: there is no such animal, or it is not theirs to see; one answer for both.
    """
    found = seen_animals(keeper, [animal], now)
    if animal not in found:
        raise NotFound()
    return found[animal]


def seen_animals(keeper: UUID, animals: Iterable[UUID], now: datetime) -> Seen:
    """Those of the animals that the keeper may see now, and how much of each; the query
    of :func:`visible_animals`, put into SQL once."""
    wanted = list(animals)
    if not wanted:
        return {}
    make = animal_maker()
    found: Seen = {}
    for row in ANIMALS.ask(keeper=keeper, now=now, animals=wanted):
        animal = make(row)
        found[animal.pk] = animal, row[-1]
    return found


def _with_sight(keeper: UUID, now: datetime, animals: Any) -> QuerySet[Animal, Any]:
    rows = visible_animals(keeper, now).order_by().values_list(*WITH_COLLECTION, "sight")
    return any_of(rows, '"animals_animal"."id"', animals)


ANIMALS = Prepared(
    _with_sight, keeper=UUID(int=1), now=datetime(1, 1, 1, tzinfo=UTC), animals=(UUID(int=2),)
)


def animal_open(keeper: UUID, animal: UUID, now: datetime) -> Animal:
    """An animal the keeper may see whole; a blind guest gets the same answer as anyone
    who may not see it at all."""
    found, sight = animal_seen(keeper, animal, now)
    if sight != "all":
        raise NotFound()
    return found


def checks_blind(keeper: UUID, now: datetime) -> bool:
    """Whether there is an animal that the keeper is to check blind, or whose call is awaited."""
    if awaited_checks(keeper, now).exists():
        return True
    return visible_animals(keeper, now).filter(sight="blind").exists()


def still_blind(keeper: UUID, now: datetime) -> set[UUID]:
    """The animals that the keeper is to check blind, or whose call of theirs is awaited."""
    asked = (one.ask(keeper=keeper, now=now) for one in (SEEN_BLIND, AWAITED))
    return {animal for rows in asked for (animal,) in rows}


def _seen_blind(keeper: UUID, now: datetime) -> "QuerySet[Animal, Any]":
    return visible_animals(keeper, now).filter(sight="blind").order_by().values_list("pk")


def _awaited(keeper: UUID, now: datetime) -> "QuerySet[GrantAnimal, Any]":
    return awaited_checks(keeper, now).order_by().values_list("animal")


SEEN_BLIND = Prepared(_seen_blind, keeper=UUID(int=1), now=datetime(1, 1, 1, tzinfo=UTC))
AWAITED = Prepared(_awaited, keeper=UUID(int=1), now=datetime(1, 1, 1, tzinfo=UTC))


def young_seen(keeper: UUID, dam: UUID, now: datetime) -> list[Animal]:
    """What is registered as the animal's young, as far as the keeper may see it whole."""
    rows = visible_animals(keeper, now).filter(dam=dam, sight="all")
    return list(rows.prefetch_related("identifiers").order_by("hatched", "pk"))


def parents_shown(keeper: UUID, animals: Iterable[Animal], now: datetime) -> dict[UUID, Parents]:
    """Sire and dam of each animal as far as they may be shown: being one tells a sex.

    A keeper or partner is told all, also of those out of sight. But where one of the two is an
    animal that they are to check blind, neither is shown, as long as their call is awaited: the
    other one would tell which of the two that is. Anyone else is told of parents that they see
    whole, and of each by itself: one that they check blind is to them like one out of sight.
    """
    listed = list(animals)
    rule = VisibleParents(
        keeper, (one for animal in listed for one in (animal.sire, animal.dam)), now
    )
    return {one.pk: rule.shown(one.collection_id, one.sire, one.dam) for one in listed}


class VisibleParents:
    """Whether the keeper, who sees an animal whole, may be told that these are, or once were
    said to be, its parents; the rule is that of :func:`parents_shown`."""

    def __init__(self, keeper: UUID, parents: Iterable[UUID | None], now: datetime) -> None:
        """``parents``: all that will be asked about."""
        named = {one for one in parents if one}
        self._sights = sights_of(keeper, named, now)
        self._awaited = awaited_among(keeper, named, now)
        held = stewarded_collections(keeper, now) if named else []
        self._own = {collection.pk for collection in held}

    def shown(self, collection: UUID, sire: UUID | None, dam: UUID | None) -> Parents:
        """Sire and dam of an animal in that collection, each None where it may not be told."""
        if collection not in self._own:
            seen = [one if one and self._sights.get(one) == "all" else None for one in (sire, dam)]
            return seen[0], seen[1]
        return (
            (sire, dam)
            if all(self._open_of_own(one) for one in (sire, dam) if one)
            else (None, None)
        )

    def open(self, animal: Animal, *parents: UUID) -> bool:
        """Whether each of them may be told."""
        if animal.collection_id in self._own:
            return all(self._open_of_own(one) for one in parents)
        return all(self._sights.get(one) == "all" for one in parents)

    def _open_of_own(self, parent: UUID) -> bool:
        """Of an animal of their own."""
        sight = self._sights.get(parent)
        return sight == "all" or (sight is None and parent not in self._awaited)
