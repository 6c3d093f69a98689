"""Whose sight may have changed, found without looking at everything that is seen."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import Q, QuerySet

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import stewarded_ids
from scalewitness.animals.queries.grants import LATE_LIMIT, awaited_checks, awaited_until
from scalewitness.calls.queries.visibility import Point, sights_at, visible_animals
from scalewitness.domain.sync import NOTHING, Reached
from scalewitness.feed.items import CollectionNow
from scalewitness.ledger.queries.fence import epoch
from scalewitness.ledger.queries.prepared import Prepared, any_of, asked, ids_literal
from scalewitness.ledger.services.memory import present_origin
from scalewitness.people.models import Grant

NOW = """
SELECT head.size,
  coalesce((SELECT max(history_id) FROM animals_historicalanimal), 0),
  coalesce((SELECT max(history_id) FROM animals_historicalcollection), 0),
  coalesce((SELECT max(history_id) FROM people_historicalkeeper), 0),
  coalesce((SELECT max(id) FROM ledger_fence), 0),
  signed.size, raised.id, raised.at, raised.size, raised.root
FROM ledger_head AS head CROSS JOIN ledger_signedhead AS signed LEFT JOIN LATERAL (
  SELECT id, at, size, root FROM ledger_fence WHERE state = 'raised'
  ORDER BY id DESC LIMIT 1) AS raised ON true
"""
CHANGED = """
changed AS (
  SELECT g.id, g.collection, g.whole, g.role
  FROM people_grant g LEFT JOIN people_grantend e ON e.grant_id = g.id
  WHERE g.to_id = %(keeper)s AND (
    g.position >= %(old)s AND g.position < %(new)s
    OR e.position >= %(old)s AND e.position < %(new)s
    OR g.opens > %(from)s AND g.opens <= %(to)s
    OR g.closes > %(from)s AND g.closes <= %(to)s
    OR g.blind AND g.closes + %(late)s > %(from)s AND g.closes + %(late)s <= %(to)s
    OR g.blind AND e.at + %(late)s > %(from)s AND e.at + %(late)s <= %(to)s
    OR g.role <> 'guest' AND EXISTS (
      SELECT FROM people_grant v JOIN people_grantanimal n ON n.grant_id = v.id
      LEFT JOIN people_grantend w ON w.grant_id = v.id
      WHERE v.to_id = g.to_id AND v.blind AND v.position < g.position
      AND v.closes + %(late)s > %(from)s AND (
        v.closes + %(late)s <= %(to)s
        OR w.at + %(late)s > %(from)s AND w.at + %(late)s <= %(to)s
        OR w.position >= %(old)s AND w.position < %(new)s
        OR EXISTS (
          SELECT FROM calls_call c WHERE c.animal_id = n.animal AND c.by = g.to_id
          AND c.position >= %(old)s AND c.position < %(new)s AND c.visit IS NOT NULL)
        OR EXISTS (
          SELECT FROM animals_custody m WHERE m.animal_id = n.animal
          AND m.position >= %(old)s AND m.position < %(new)s)))))
"""
"""Grants that opened or closed, or whose blind check is awaited no more, and those that may have
waited for it, or wait anew as it moved."""
ANYTHING = f"""
WITH {CHANGED}
SELECT EXISTS (SELECT FROM changed)
  OR EXISTS (SELECT FROM animals_custody WHERE position >= %(old)s AND position < %(new)s)
  OR EXISTS (
    SELECT FROM ledger_entry
    WHERE kind IN ('animal_registered', 'registered_in_error')
      AND position >= %(old)s AND position < %(new)s)
  OR EXISTS (
    SELECT FROM calls_call WHERE by = %(keeper)s
    AND position >= %(old)s AND position < %(new)s AND visit IS NOT NULL)
"""  # noqa: S608  nothing but constants is put in
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
  WHERE r.kind IN ('animal_registered', 'registered_in_error')
    AND r.position >= %(old)s AND r.position < %(new)s
    AND a.collection_id IN (SELECT id FROM concerned)
  UNION SELECT animal_id FROM calls_call
  WHERE by = %(keeper)s AND position >= %(old)s AND position < %(new)s AND visit IS NOT NULL)
SELECT id FROM (
  SELECT id FROM touched
  UNION SELECT young.id FROM animals_animal young
  JOIN touched ON young.sire = touched.id OR young.dam = touched.id
  WHERE touched.id <> ALL(%(quiet)s::uuid[]) OR young.collection_id IN (
    SELECT id FROM animals_collection WHERE keeper_id = %(keeper)s
    UNION SELECT collection FROM people_grant WHERE to_id = %(keeper)s AND role = 'partner')
  ) AS found
WHERE %(after)s::uuid IS NULL OR id > %(after)s::uuid ORDER BY id LIMIT %(limit)s
"""  # noqa: S608
STEWARDED = f"""
WITH {CHANGED}
SELECT DISTINCT collection FROM changed
WHERE role = 'partner' AND whole AND (%(after)s::uuid IS NULL OR collection > %(after)s::uuid)
ORDER BY collection LIMIT %(limit)s
"""  # noqa: S608

OF_KINDS = """
SELECT position FROM ledger_entry
WHERE kind = ANY(%(kinds)s) AND position >= %(start)s AND position < %(end)s
"""
STATED = """
SELECT said.position, said.about FROM (
  SELECT position, about FROM ledger_entry WHERE by = %(keeper)s
  UNION SELECT entry.position, entry.about FROM calls_heldcall held
  JOIN calls_helddecision decided ON decided.held_id = held.id
  JOIN ledger_entry entry ON entry.position = decided.position WHERE held.by = %(keeper)s) said
WHERE said.position >= %(start)s AND said.position < %(end)s
  AND NOT EXISTS (
    SELECT FROM animals_animal a JOIN animals_collection held ON held.id = a.collection_id
    WHERE a.id = said.about AND held.keeper_id = %(keeper)s)
"""


class Ends(NamedTuple):
    """The last of everything that the feed is made from. Edits are numbered under the log's
    lock, so that none can turn up later below a number already seen."""

    size: int
    animals: int
    collections: int
    keepers: int
    fences: int


class Now(NamedTuple):
    """The log at this moment: its ends, the size of the largest tree ever signed, what a
    cursor of before the last fence does not have, and its origin."""

    ends: Ends
    signed: int
    epoch: bytes
    origin: str


def log_now() -> Now:
    ((*ends, signed, number, at, size, root),) = asked(NOW)
    return Now(Ends(*ends), signed, epoch(number and (number, at, size, root)), present_origin())


def anything_touched(keeper: UUID, old: Reached, new: Reached) -> bool:
    """False where nobody's sight of anything changed from ``old`` to ``new``, as mostly: then
    nothing else need be looked up."""
    ((found,),) = asked(ANYTHING, _between(keeper, old, new))
    return bool(found)


MOST_ANIMALS = 2001
"""One more than any page has: then there are more."""


def touched_animals(
    keeper: UUID, old: Reached, new: Reached, *, after: UUID | None, now: datetime, limit: int
) -> list[UUID]:
    """Animals that the keeper may see otherwise at ``new`` than at ``old``, by id: those of
    grants given, ended, opened or closed between, moved, registered, or called by themselves
    on a visit; and their young, since of a parent only so much is told as is seen of it. An animal
    that they are to check blind was told as little of as before, so that others' young of it stay
    as they are: sent anew they would tell that it is a parent.

    There may be more than did change, never fewer. From nothing: all that are seen.
    """
    if old == NOTHING:
        seen = SEEN_FIRST.ask(keeper=keeper, now=now, after=after or UUID(int=0))
        return [pk for (pk,) in seen[:limit]]
    quiet = ids_literal(_still_blind_to(keeper, old, now))
    return _ids(TOUCHED, keeper, old, new, after=after, limit=limit, quiet=quiet)


def _still_blind_to(keeper: UUID, old: Reached, now: datetime) -> set[UUID]:
    """Whose blind checks by the keeper are awaited, and which they did not see whole."""
    awaited = set(awaited_checks(keeper, now).values_list("animal", flat=True))
    then = sights_at(keeper, awaited, Point(old.size, old.at)) if awaited else {}
    return {one for one in awaited if then.get(one) != "all"}


def of_kinds(kinds: Sequence[str], start: int, end: int) -> list[int]:
    """Positions from ``start`` on and before ``end`` of entries of these kinds."""
    return [at for (at,) in asked(OF_KINDS, {"kinds": kinds, "start": start, "end": end})]


def stated_of_others(keeper: UUID, start: int, end: int) -> dict[int, UUID | None]:
    """What the keeper said, or was decided of their late calls, from ``start`` on and before
    ``end``, of anything but an animal that they hold: what it is about, by position."""
    return dict(asked(STATED, {"keeper": keeper, "start": start, "end": end}))


def touched_collections(
    keeper: UUID, old: Reached, new: Reached, *, after: UUID | None, now: datetime, limit: int
) -> list[UUID]:
    """Collections that the keeper may have become or ceased to be a partner in, by id. From
    nothing: all that they hold or are a partner in."""
    if old == NOTHING:
        held = sorted(stewarded_ids(keeper, now))
        return [one for one in held if after is None or one > after][:limit]
    return _ids(STEWARDED, keeper, old, new, after=after, limit=limit)


def _ids(sql: str, keeper: UUID, old: Reached, new: Reached, **more: Any) -> list[UUID]:
    return [found for (found,) in asked(sql, _between(keeper, old, new) | more)]


def _between(keeper: UUID, old: Reached, new: Reached) -> dict[str, Any]:
    first, last = sorted((old.at, new.at))
    return {
        "keeper": keeper,
        "old": old.size,
        "new": new.size,
        "from": first,
        "to": last,
        "late": LATE_LIMIT,
    }


def collections_named(keeper: UUID, ids: list[UUID], now: datetime) -> list[CollectionNow]:
    """Those of the collections that the keeper is told the name of, and as what, by id."""
    if not ids:
        return []
    stewarded = stewarded_ids(keeper, now)
    named = stewarded | {one for (one,) in SEEN_IN.ask(keeper=keeper, now=now, collections=ids)}
    found = Collection.objects.filter(pk__in=named.intersection(ids)).order_by("pk")
    return [CollectionNow(one, _role(one, keeper, stewarded)) for one in found]


def _seen_in(keeper: UUID, now: datetime, collections: Any) -> "QuerySet[Animal, Any]":
    seen = visible_animals(keeper, now).filter(sight="all").order_by()
    rows: Any = any_of(seen, '"animals_animal"."collection_id"', collections)
    named: QuerySet[Animal, Any] = rows.values_list("collection").distinct()
    return named


SEEN_IN = Prepared(
    _seen_in, keeper=UUID(int=1), now=datetime(1, 1, 1, tzinfo=UTC), collections=(UUID(int=2),)
)


def _seen_first(keeper: UUID, now: datetime, after: UUID) -> "QuerySet[Animal, Any]":
    """The most that a page may ask for: how many it asks for would be another statement."""
    return visible_animals(keeper, now).filter(pk__gt=after).values_list("pk")[:MOST_ANIMALS]


SEEN_FIRST = Prepared(
    _seen_first, keeper=UUID(int=1), now=datetime(1, 1, 1, tzinfo=UTC), after=UUID(int=2)
)


def _role(one: Collection, keeper: UUID, stewarded: set[UUID]) -> Any:
    if one.keeper_id == keeper:
        return "keeper"
    return "partner" if one.pk in stewarded else "viewer"


def next_turn(keeper: UUID, after: datetime) -> datetime | None:
    """When the next of the keeper's grants opens or closes by the clock, or a blind check of theirs
    is awaited no more."""
    coming = Grant.objects.filter(Q(opens__gt=after) | Q(closes__gt=after), to=keeper, end=None)
    turns = [at for pair in coming.values_list("opens", "closes") for at in pair if at]
    visits = Grant.objects.filter(to=keeper, blind=True, closes__gt=after - LATE_LIMIT)
    turns += awaited_until(list(visits.select_related("end"))).values()
    return min((at for at in turns if at > after), default=None)
