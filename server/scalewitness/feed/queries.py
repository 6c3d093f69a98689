"""Whose sight may have changed, found without looking at everything that is seen."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any, NamedTuple, TypeAlias
from uuid import UUID

from django.db import connection
from django.db.models import Q, QuerySet

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import stewarded_collections
from scalewitness.calls.queries.visibility import Sight, sights_of, visible_animals
from scalewitness.domain.sync import NOTHING, Reached
from scalewitness.feed.items import CollectionNow
from scalewitness.ledger.queries.prepared import Prepared, any_of, columns, maker
from scalewitness.people.models import Grant

ENDS = """
SELECT (SELECT size FROM ledger_head WHERE id = 1),
  (SELECT max(history_id) FROM animals_historicalanimal),
  (SELECT max(history_id) FROM animals_historicalcollection),
  (SELECT max(history_id) FROM people_historicalkeeper),
  (SELECT max(id) FROM ledger_fence)
"""
CHANGED = """
changed AS (
  SELECT g.id, g.collection, g.whole, g.role
  FROM people_grant g LEFT JOIN people_grantend e ON e.grant_id = g.id
  WHERE g.to_id = %(keeper)s AND (
    g.position >= %(old)s AND g.position < %(new)s
    OR e.position >= %(old)s AND e.position < %(new)s
    OR g.opens > %(from)s AND g.opens <= %(to)s
    OR g.closes > %(from)s AND g.closes <= %(to)s))
"""
TOUCHED = f"""
WITH {CHANGED},
concerned AS (
  SELECT id FROM animals_collection WHERE keeper_id = %(keeper)s
  UNION SELECT collection FROM people_grant WHERE to_id = %(keeper)s),
touched AS (
  SELECT id FROM animals_animal
  WHERE collection_id IN (SELECT collection FROM changed WHERE whole)
  UNION SELECT animal FROM people_grantanimal
  WHERE grant_id IN (SELECT id FROM changed WHERE NOT whole)
  UNION SELECT animal_id FROM animals_custody
  WHERE position >= %(old)s AND position < %(new)s AND
    (came_from IN (SELECT id FROM concerned) OR went_to IN (SELECT id FROM concerned))
  UNION SELECT a.id FROM ledger_entry r JOIN animals_animal a ON a.id = r.about
  WHERE r.kind = 'animal_registered' AND r.position >= %(old)s AND r.position < %(new)s
    AND a.collection_id IN (SELECT id FROM concerned)
  UNION SELECT animal_id FROM calls_call
  WHERE by = %(keeper)s AND position >= %(old)s AND position < %(new)s AND visit IS NOT NULL)
SELECT id FROM (
  SELECT id FROM touched
  UNION SELECT young.id FROM animals_animal young JOIN touched ON young.sire = touched.id
  UNION SELECT young.id FROM animals_animal young JOIN touched ON young.dam = touched.id) AS found
WHERE %(after)s::uuid IS NULL OR id > %(after)s::uuid ORDER BY id LIMIT %(limit)s
"""  # noqa: S608  nothing but constants is put in
STEWARDED = f"""
WITH {CHANGED}
SELECT DISTINCT collection FROM changed
WHERE role = 'partner' AND whole AND (%(after)s::uuid IS NULL OR collection > %(after)s::uuid)
ORDER BY collection LIMIT %(limit)s
"""  # noqa: S608


class Ends(NamedTuple):
    """The last of everything that the feed is made from. Edits are numbered under the log's
    lock, so that none can turn up later below a number already seen."""

    size: int
    animals: int
    collections: int
    keepers: int
    fences: int


def ends() -> Ends:
    with connection.cursor() as cursor:
        cursor.execute(ENDS)
        return Ends(*(last or 0 for last in cursor.fetchone()))


Seen: TypeAlias = dict[UUID, tuple[Animal, Sight]]


def seen_animals(keeper: UUID, animals: Iterable[UUID], now: datetime) -> Seen:
    """Those of the animals that the keeper may see now, and how much of each."""
    sights = sights_of(keeper, animals, now)
    if not sights:
        return {}
    found = {one.pk: one for one in _with_collections(ANIMALS.ask(animals=list(sights)))}
    return {pk: (found[pk], sight) for pk, sight in sights.items()}


def _animals(animals: Any) -> QuerySet[Animal, Any]:
    rows = any_of(Animal.objects.order_by(), '"animals_animal"."id"', animals)
    held = (f"collection__{one}" for one in columns(Collection))
    return rows.values_list(*columns(Animal), *held)


ANIMALS = Prepared(_animals, animals=(UUID(int=1),))


def _with_collections(rows: Iterable[tuple[Any, ...]]) -> Iterator[Animal]:
    width = len(columns(Animal))
    animals, collections = maker(Animal), maker(Collection)
    known: dict[UUID, Collection] = {}
    for row in rows:
        animal = animals(row[:width])
        held = known.get(animal.collection_id) or collections(row[width:])
        known[animal.collection_id] = animal.collection = held
        yield animal


def touched_animals(
    keeper: UUID, old: Reached, new: Reached, *, after: UUID | None, now: datetime, limit: int
) -> list[UUID]:
    """Animals that the keeper may see otherwise at ``new`` than at ``old``, by id: those of
    grants given, ended, opened or closed between, moved, registered, or called by themselves
    on a visit; and their young, since of a parent only so much is told as is seen of it.

    There may be more than did change, never fewer. From nothing: all that are seen.
    """
    if old == NOTHING:
        seen = visible_animals(keeper, now)
        rows = seen.filter(pk__gt=after) if after else seen
        return list(rows.values_list("pk", flat=True)[:limit])
    return _ids(TOUCHED, keeper, old, new, after=after, limit=limit)


def touched_collections(
    keeper: UUID, old: Reached, new: Reached, *, after: UUID | None, now: datetime, limit: int
) -> list[UUID]:
    """Collections that the keeper may have become or ceased to be a partner in, by id. From
    nothing: all that they hold or are a partner in."""
    if old == NOTHING:
        held = sorted(one.pk for one in stewarded_collections(keeper, now))
        return [one for one in held if after is None or one > after][:limit]
    return _ids(STEWARDED, keeper, old, new, after=after, limit=limit)


def _ids(sql: str, keeper: UUID, old: Reached, new: Reached, **more: Any) -> list[UUID]:
    first, last = sorted((old.at, new.at))
    given: dict[str, Any] = {
        "keeper": keeper,
        "old": old.size,
        "new": new.size,
        "from": first,
        "to": last,
    }
    with connection.cursor() as cursor:
        cursor.execute(sql, given | more)
        return [found for (found,) in cursor.fetchall()]


def collections_named(keeper: UUID, ids: list[UUID], now: datetime) -> list[CollectionNow]:
    """Those of the collections that the keeper is told the name of, and as what, by id."""
    if not ids:
        return []
    stewarded = {one.pk for one in stewarded_collections(keeper, now)}
    seen = visible_animals(keeper, now).filter(collection__in=ids, sight="all")
    told = stewarded | set(seen.order_by().values_list("collection", flat=True).distinct())
    found = Collection.objects.filter(pk__in=told.intersection(ids)).order_by("pk")
    return [CollectionNow(one, _role(one, keeper, stewarded)) for one in found]


def _role(one: Collection, keeper: UUID, stewarded: set[UUID]) -> Any:
    if one.keeper_id == keeper:
        return "keeper"
    return "partner" if one.pk in stewarded else "viewer"


def next_turn(keeper: UUID, after: datetime) -> datetime | None:
    """When the next of the keeper's grants opens or closes by the clock."""
    coming = Grant.objects.filter(Q(opens__gt=after) | Q(closes__gt=after), to=keeper, end=None)
    turns = [at for pair in coming.values_list("opens", "closes") for at in pair if at]
    return min((at for at in turns if at > after), default=None)
