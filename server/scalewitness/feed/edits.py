"""Edits of records: animals, collections, oneself. Each is handed over as it is now."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

import msgspec

from scalewitness.animals.models import Animal, Collection
from scalewitness.calls.queries.visibility import seen_animals
from scalewitness.domain.sync import Cursor
from scalewitness.feed.items import AnimalNow, Item, ProfileNow
from scalewitness.feed.queries import collections_named
from scalewitness.people.models import Keeper

STRETCH = 1000
"""Edits looked at in one go, and the most that one answer looks at (our judgement)."""
SHOWN_THE_BLIND = ("species", "hatched", "hold_off")


def follow(keeper: Keeper, cursor: Cursor, limit: int, now: datetime) -> tuple[list[Item], Cursor]:
    """The next edited records, at most ``limit``, and the cursor after them."""
    items: list[Item] = []
    if cursor.profile != keeper.version:
        items.append(ProfileNow(keeper))
        cursor = msgspec.structs.replace(cursor, profile=keeper.version)
    found, reached = _collections(keeper.pk, cursor.collections, limit - len(items), now)
    items += found
    cursor = msgspec.structs.replace(cursor, collections=reached)
    found, reached = _animals(keeper.pk, cursor.animals, limit - len(items), now)
    return items + found, msgspec.structs.replace(cursor, animals=reached)


def _collections(keeper: UUID, after: int, limit: int, now: datetime) -> tuple[list[Item], int]:
    rows = Collection.history.filter(history_id__gt=after).order_by("history_id")
    edits = list(rows.values_list("history_id", "id")[:STRETCH])
    named = {one.collection.pk: one for one in collections_named(keeper, _each(edits), now)}
    items: dict[UUID, Item] = {}
    for number, pk in edits:
        if pk in named and pk not in items:
            if len(items) == limit:
                return list(items.values()), after
            items[pk] = named[pk]
        after = number
    return list(items.values()), after


def _animals(keeper: UUID, after: int, limit: int, now: datetime) -> tuple[list[Item], int]:
    rows = Animal.history.filter(history_id__gt=after).order_by("history_id")
    edits = list(rows[:STRETCH])
    seen = seen_animals(keeper, {edit.id for edit in edits}, now)
    items: dict[UUID, Item] = {}
    for edit in edits:
        if edit.id in seen and edit.id not in items and _shows(edit, seen[edit.id][1]):
            if len(items) == limit:
                return list(items.values()), after
            items[edit.id] = AnimalNow(*seen[edit.id])
        after = edit.history_id
    return list(items.values()), after


def _shows(edit: "Animal.history.model", sight: str) -> bool:
    """What facts changed comes with the fact; a blind guest sees few of them, and must not
    learn from a number of edits that there were others."""
    if sight == "all":
        return edit.history_user_id is not None
    before = edit.prev_record
    return before is None or any(
        getattr(edit, name) != getattr(before, name) for name in SHOWN_THE_BLIND
    )


def _each(edits: Iterable[tuple[int, UUID]]) -> list[UUID]:
    return list(dict.fromkeys(pk for _, pk in edits))
