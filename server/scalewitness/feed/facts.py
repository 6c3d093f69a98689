"""Facts in log order, as far as they may be read."""

from dataclasses import replace
from datetime import datetime
from uuid import UUID

import msgspec

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import health_as_of
from scalewitness.calls.queries.visibility import Seen, seen_animals, sights_of
from scalewitness.domain import facts
from scalewitness.domain.cautions import is_held_off
from scalewitness.domain.sync import Cursor
from scalewitness.feed.items import AnimalNow, FactItem, Item
from scalewitness.feed.queries import of_kinds, stated_of_others
from scalewitness.ledger.queries.entries import EntryLine, leaf_of, lines_at, lines_between
from scalewitness.ledger.queries.prepared import planned_for_its_values
from scalewitness.receipts.queries import ANIMAL_KINDS, OF_THE_RECORD, readable

STRETCH = 2000
"""Entries looked at in one go, and the most that one answer looks at."""
SKIMMED = 100_000
"""As many where snapshots covered most, so that little of each is looked at."""
OTHER_THINGS = 100
"""Sales, visits, grants and so on that one answer looks at, each by itself."""
OTHER_KINDS = sorted(facts.BODIES.keys() - ANIMAL_KINDS - OF_THE_RECORD)
SHOWN_TO_THE_BLIND = frozenset({"weight", "meal", "shed"})


def follow(keeper: UUID, cursor: Cursor, limit: int, now: datetime) -> tuple[list[Item], Cursor]:
    """The next facts up to where the client's sight is known, and the cursor after them. It
    moves on over what may not be read; there may be nothing and still more to come."""
    start, goal = cursor.facts, cursor.sight.size
    if start < cursor.covered:
        entries, end = _left_out(keeper, start, min(start + SKIMMED, goal, cursor.covered), now)
    else:
        entries, end = _stretch(start, min(start + STRETCH, goal))
    seen = _seen(keeper, entries, now)
    sights = {pk: sight for pk, (_, sight) in seen.items()}
    open_ones = readable(keeper, entries, now, sights)
    items: list[Item] = []
    shown: set[UUID] = set()
    for entry in entries:
        item = _item(entry, seen, open_ones)
        if item is None or (isinstance(item, AnimalNow) and item.animal.pk in shown):
            continue
        if len(items) == limit:
            end = entry.position
            break
        items.append(item)
        if isinstance(item, AnimalNow):
            shown.add(item.animal.pk)
    return _with_animals(items, seen), msgspec.structs.replace(cursor, facts=end)


def _stretch(start: int, end: int) -> tuple[list[EntryLine], int]:
    """Entries from ``start`` on and where they end."""
    return _not_too_many(lines_between(start, end), end)


def _left_out(keeper: UUID, start: int, end: int, now: datetime) -> tuple[list[EntryLine], int]:
    """As :func:`_stretch`, of entries that snapshots covered: those that were in none. It is
    what is not about animals, and what the keeper stated of animals that they see no more."""
    with planned_for_its_values():  # a stretch may be the whole log, or its last few entries
        stated = stated_of_others(keeper, start, end)
        others = of_kinds(OTHER_KINDS, start, end)
    sights = sights_of(keeper, {about for about in stated.values() if about}, now)
    out_of_sight = {at for at, about in stated.items() if about not in sights}
    wanted = out_of_sight.union(others)
    return _not_too_many(lines_at(wanted), end)


def _not_too_many(entries: list[EntryLine], end: int) -> tuple[list[EntryLine], int]:
    things: set[UUID | None] = set()
    for number, entry in enumerate(entries):
        if entry.kind not in ANIMAL_KINDS and entry.kind not in OF_THE_RECORD:
            things.add(entry.about)
        if len(things) > OTHER_THINGS:
            return entries[:number], entry.position
    return entries, end


def _seen(keeper: UUID, entries: list[EntryLine], now: datetime) -> Seen:
    subjects = {one.about for one in entries if one.about and one.kind in ANIMAL_KINDS}
    return seen_animals(keeper, subjects, now)


def _item(entry: EntryLine, seen: Seen, open_ones: set[int]) -> Item | None:
    if entry.position in open_ones:
        return FactItem(entry)
    if entry.about not in seen:
        return None
    animal, sight = seen[entry.about]
    if sight == "blind" and not (_shows_the_blind(entry) or _holds_off_or_not(entry, animal)):
        return None
    return AnimalNow(animal, sight)  # the fact is not theirs to read, what it changed is


def _shows_the_blind(entry: EntryLine) -> bool:
    """Whether a blind guest is shown something new after it. Corrected particulars come by
    the edits, where one can see what they changed."""
    if entry.kind in {"identifier_assigned", "identifier_withdrawn"}:
        return bool(leaf_of(entry).body["scheme"] != "scale_photo")
    if entry.kind in {"animal_ended", "end_corrected"}:
        return True
    return entry.kind == "husbandry_noted" and (
        leaf_of(entry).body["noted"]["type"] in SHOWN_TO_THE_BLIND
    )


def _holds_off_or_not(entry: EntryLine, animal: Animal) -> bool:
    """Whether by a note of health the animal is held off, or is no longer, for a blind guest. Of
    any other such note they are told nothing, not even that there is one."""
    if entry.kind != "husbandry_noted" or animal.hold_off:
        return False
    if leaf_of(entry).body["noted"]["type"] != "health":
        return False
    before, after = (health_as_of(animal.pk, entry.position + more) for more in (0, 1))
    return is_held_off(asked=False, health=before) != is_held_off(asked=False, health=after)


def _with_animals(items: list[Item], seen: Seen) -> list[Item]:
    """The last fact about each animal seen whole brings the animal along."""
    last = {one.entry.about: at for at, one in enumerate(items) if isinstance(one, FactItem)}
    for about, at in last.items():
        fact = items[at]
        if about in seen and seen[about][1] == "all" and isinstance(fact, FactItem):
            items[at] = replace(fact, animal=seen[about][0])
    return items
