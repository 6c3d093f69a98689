"""Snapshots of what came into sight, purges of what left it."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

import msgspec
from django.db.models import Count, QuerySet

from scalewitness.calls.queries.visibility import Point, Sight, seen_animals, sights_at
from scalewitness.domain.sync import NOTHING, Cursor, Reached, SnapshotRun
from scalewitness.feed.items import Item, Purge, Snapshot
from scalewitness.feed.queries import (
    anything_touched,
    collections_named,
    touched_animals,
    touched_collections,
)
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import EntryLine, lines_about
from scalewitness.ledger.queries.prepared import Prepared, any_of
from scalewitness.receipts.queries import readable

ENTRIES_AT_ONCE = 5000
"""In the snapshots of one page, unless a single animal has more (our judgement)."""


def follow(
    keeper: UUID, cursor: Cursor, here: Reached, limit: int, now: datetime
) -> tuple[list[Item], Cursor]:
    """The next snapshots and purges, at most ``limit``, and the cursor after them: without
    a run once all are handed over.

    What is seen is looked up now, also for a run that began earlier; what changed since it
    began is found again by the run after it.
    """
    if cursor.run is None and _same_sight(keeper, cursor.sight, here):
        return [], msgspec.structs.replace(cursor, sight=here)
    run = cursor.run or SnapshotRun(here)
    items: list[Item] = []
    if run.step == "collections":
        items, run = _collections(keeper, cursor.sight, run, limit, now)
    if run.step == "animals" and len(items) < limit:
        more, done = _animals(keeper, cursor, run, limit - len(items), now)
        items += more
        if done is None:
            return items, msgspec.structs.replace(cursor, sight=run.goal, run=None)
        run = done
    return items, msgspec.structs.replace(cursor, run=run)


def _same_sight(keeper: UUID, old: Reached, here: Reached) -> bool:
    return old != NOTHING and not anything_touched(keeper, old, here)


def _collections(
    keeper: UUID, old: Reached, run: SnapshotRun, limit: int, now: datetime
) -> tuple[list[Item], SnapshotRun]:
    ids = touched_collections(keeper, old, run.goal, after=run.after, now=now, limit=limit + 1)
    taken = ids[:limit]
    named = {one.collection.pk: one for one in collections_named(keeper, taken, now)}
    items: list[Item] = [named.get(one) or Purge("collection", one) for one in taken]
    if len(ids) > limit:
        return items, SnapshotRun(run.goal, "collections", taken[-1])
    return items, SnapshotRun(run.goal, "animals")


def _animals(
    keeper: UUID, cursor: Cursor, run: SnapshotRun, limit: int, now: datetime
) -> tuple[list[Item], SnapshotRun | None]:
    """The run after them; None when it is at its end."""
    old = cursor.sight
    ids = touched_animals(keeper, old, run.goal, after=run.after, now=now, limit=limit + 1)
    taken = ids[:limit]
    seen = seen_animals(keeper, taken, now)
    taken = _so_many(taken, [pk for pk, (_, sight) in seen.items() if sight == "all"])
    sights = {pk: seen[pk][1] for pk in taken if pk in seen}
    entries = _entries(keeper, sights, now)
    known = _known(keeper, [pk for pk in taken if pk not in seen], old, run.goal)
    items: list[Item] = []
    for pk in taken:
        if pk in seen:
            items.append(Snapshot(*seen[pk], tuple(entries[pk])))
        elif pk in known:
            items.append(Purge("animal", pk))
    finished = len(taken) == len(ids)
    return items, None if finished else SnapshotRun(run.goal, "animals", taken[-1])


def _known(keeper: UUID, lost: list[UUID], old: Reached, goal: Reached) -> set[UUID]:
    """Of animals out of sight, those the client may have; of others it must not even learn
    the id."""
    if not lost:
        return set()
    points = [Point(one.size, one.at) for one in (old, goal)]
    return {pk for point in points for pk in sights_at(keeper, lost, point)}


def _so_many(ids: list[UUID], whole: list[UUID]) -> list[UUID]:
    """As many of the animals, at least one, as have not too many entries."""
    counts: dict[UUID, int] = dict(COUNTS.ask(animals=whole)) if whole else {}
    total = 0
    for number, pk in enumerate(ids):
        total += counts.get(pk, 0)
        if total > ENTRIES_AT_ONCE and number > 0:
            return ids[:number]
    return ids


def _counts(animals: Any) -> QuerySet[Entry, Any]:
    rows: Any = any_of(Entry.objects.order_by(), '"ledger_entry"."about"', animals)
    about: QuerySet[Entry, Any] = rows.values("about")
    return about.values_list("about", Count("position"))


COUNTS = Prepared(_counts, animals=(UUID(int=1),))


def _entries(
    keeper: UUID, sights: Mapping[UUID, Sight], now: datetime
) -> defaultdict[UUID, list[EntryLine]]:
    found: defaultdict[UUID, list[EntryLine]] = defaultdict(list)
    lines = lines_about(sights) if sights else []
    open_ones = readable(keeper, lines, now, sights)
    for one in lines:
        if one.about is not None and one.position in open_ones:
            found[one.about].append(one)
    return found
