"""The one visibility query: every read of an animal passes through here.

``all``: the keeper may see everything about the animal. ``blind``: a guest who has not
yet given their own call on this visit sees what identifies the animal and what matters
for its welfare, and nothing that could tell its sex.
"""

from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final, Literal, TypeAlias, TypedDict
from uuid import UUID

from django.db.models import Case, Exists, ExpressionWrapper, OuterRef, Q, QuerySet, Value, When
from django.db.models.fields import BooleanField, CharField, TextField

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import (
    WITH_COLLECTION,
    animal_maker,
    held_or_granted,
    stewarded,
)
from scalewitness.animals.queries.grants import (
    active_grants,
    awaited_checks,
    held_in_at,
)
from scalewitness.calls.models import Call
from scalewitness.domain.errors import NotFound
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.prepared import Prepared, PreparedExpression, any_of
from scalewitness.people.models import Grant
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


@dataclass(frozen=True, slots=True)
class Reader:
    """A keeper who reads something now, with what decides how much of it they may see. ``holds``:
    the collections they hold or are partners in; ``awaited``: the animals of which a blind check
    of theirs is; ``visits_blind``: whether a blind visit of theirs is open."""

    keeper: UUID
    now: datetime
    holds: frozenset[UUID]
    awaited: frozenset[UUID]
    visits_blind: bool


def reader_of(keeper: UUID, now: datetime) -> Reader:
    found: dict[str, set[UUID]] = {"holds": set(), "awaited": set(), "visits": set()}
    for what, one in READER.ask(keeper=keeper, now=now):
        found[what].add(one)
    holds, awaited = frozenset(found["holds"]), frozenset(found["awaited"])
    return Reader(keeper, now, holds, awaited, bool(found["visits"]))


def _reader(keeper: UUID, now: datetime) -> QuerySet[Any, Any]:
    def rows(what: str, found: QuerySet[Any, Any], column: str) -> QuerySet[Any, Any]:
        what_it_is = Value(what, output_field=TextField())
        named: QuerySet[Any, Any] = found.order_by().annotate(what=what_it_is)
        return named.values_list("what", column)

    awaited = rows("awaited", awaited_checks(keeper, now), "animal")
    visits = rows("visits", active_grants(keeper, now).filter(blind=True), "pk")
    holds: QuerySet[Any, Any] = rows("holds", stewarded(keeper, now), "pk")
    found: QuerySet[Any, Any] = holds.union(awaited, visits, all=True)
    return found


READER = Prepared(_reader, keeper=UUID(int=1), now=datetime(1, 1, 1, tzinfo=UTC))


def still_blind(reader: Reader) -> Set[UUID]:
    """The animals that the keeper is to check blind, or whose call of theirs is awaited."""
    if not reader.visits_blind:
        return reader.awaited
    seen = SEEN_BLIND.ask(keeper=reader.keeper, now=reader.now)
    return reader.awaited.union(animal for (animal,) in seen)


def kept_from(reader: Reader) -> Set[UUID]:
    """The animals of which the keeper is told no use, as a parent or in a pairing: those to be
    checked blind, and those whose call of theirs is awaited, in their sight just now or not, but
    what they see whole."""
    blind = still_blind(reader)
    sights = sights_of(reader.keeper, blind, reader.now)
    return {one for one in blind if sights.get(one) != "all"}


def _seen_blind(keeper: UUID, now: datetime) -> "QuerySet[Animal, Any]":
    return visible_animals(keeper, now).filter(sight="blind").order_by().values_list("pk")


SEEN_BLIND = Prepared(_seen_blind, keeper=UUID(int=1), now=datetime(1, 1, 1, tzinfo=UTC))


def young_seen(keeper: UUID, dam: UUID, now: datetime) -> list[Animal]:
    """What is registered as the animal's young, as far as the keeper may see it whole and is told
    of the dam."""
    rows = visible_animals(keeper, now).filter(dam=dam, sight="all")
    found = list(rows.prefetch_related("identifiers").order_by("hatched", "pk"))
    shown = parents_shown(keeper, found, now)
    return [one for one in found if shown[one.pk][1] == dam]


def parents_shown(keeper: UUID, animals: Iterable[Animal], now: datetime) -> dict[UUID, Parents]:
    """Sire and dam of each animal as far as they may be shown: being one tells a sex.

    A keeper or partner is told all, also of those out of sight. But where one of the two is an
    animal that they are to check blind, neither is shown, as long as their call is awaited: the
    other one would tell which of the two that is. Anyone else is told of parents that they see
    whole, and of each by itself: one that they check blind is to them like one out of sight.
    """
    listed = list(animals)
    rule = visible_parents(
        keeper, (one for animal in listed for one in (animal.sire, animal.dam)), now
    )
    return {one.pk: rule.shown(one.collection_id, one.sire, one.dam) for one in listed}


def visible_parents(
    keeper: UUID, parents: Iterable[UUID | None], now: datetime
) -> "VisibleParents":
    """``parents``: all that will be asked about."""
    named = {one for one in parents if one}
    reader = reader_of(keeper, now) if named else None
    return VisibleParents(reader, sights_of(keeper, named, now))


class VisibleParents:
    """Whether a keeper, who sees an animal whole, may be told that these are, or once were
    said to be, its parents; the rule is that of :func:`parents_shown`."""

    def __init__(self, reader: Reader | None, sights: Mapping[UUID, Sight]) -> None:
        """``sights``: of all that will be asked about; no ``reader`` where that is none."""
        self._sights = sights
        self._awaited = reader.awaited if reader else frozenset()
        self._own = reader.holds if reader else frozenset()

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
