"""What a keeper has not seen yet, page by page, from a cursor and nothing else."""

from datetime import datetime

from msgspec.structs import replace

from scalewitness.domain.errors import CursorOfAnotherLog, Resync
from scalewitness.domain.sync import NOTHING, BadCursor, Cursor, Reached, SnapshotRun, read_cursor
from scalewitness.feed import edits, facts, sights
from scalewitness.feed.items import Item, Page
from scalewitness.feed.queries import Ends, Now
from scalewitness.ledger.queries.origins import is_closed
from scalewitness.people.models import Keeper


def changes(keeper: Keeper, given: str | None, limit: int, log: Now, now: datetime) -> Page:
    """At most ``limit`` items: snapshots and purges first, then facts in log order, then
    edited records. Read it, and all that the items lead to, in one
    `ledger.queries.snapshot.snapshot`.

    ``log``: as it is at that moment. ``given``: the cursor of an earlier page; None begins
    with everything seen. The same cursor again gives the same again, and what happened since.

    Raises:
        Resync: the cursor is not of this log as it is now.
        CursorOfAnotherLog: it is of a log that never was this one.
    """
    last, here = log.ends, Reached.of(log.ends.size, now)
    cursor = _begin(here, log) if given is None else _of_this_log(given, here, log)
    items: list[Item] = []
    items, cursor = sights.follow(keeper.pk, cursor, here, limit, now)
    if cursor.run is None and len(items) < limit and cursor.facts < cursor.sight.size:
        found, cursor = facts.follow(keeper.pk, cursor, limit - len(items), now)
        items += found
    if cursor.run is None and len(items) < limit and _edits_wait(keeper, cursor, last):
        found, cursor = edits.follow(keeper, cursor, limit - len(items), now)
        items += found
    more = (
        cursor.sight != here  # a run is under way, or ended that began before
        or cursor.facts < cursor.sight.size
        or _edits_wait(keeper, cursor, last)
    )
    return Page(items, cursor, more)


def _begin(here: Reached, log: Now) -> Cursor:
    return Cursor(
        epoch=log.epoch,
        sight=NOTHING,
        facts=0,
        covered=here.size,
        animals=log.ends.animals,
        collections=log.ends.collections,
        profile=0,
        run=SnapshotRun(here),
        origin=log.origin,
    )


def _of_this_log(given: str, here: Reached, log: Now) -> Cursor:
    try:
        cursor = read_cursor(given)
    except BadCursor:
        raise Resync() from None
    if cursor.origin not in {"", log.origin}:
        # Begun anew, it would let go of what another log had shown: only its own successor may.
        raise (
            Resync()
            if is_closed(cursor.origin)
            else CursorOfAnotherLog.between(cursor.origin, log.origin)
        )
    goal = cursor.run.goal.size if cursor.run else 0
    reached = max(cursor.sight.size, cursor.facts, cursor.covered, goal)
    beyond = (
        reached > here.size
        or cursor.animals > log.ends.animals
        or cursor.collections > log.ends.collections
    )
    if beyond or cursor.epoch != log.epoch:
        raise Resync()
    run = cursor.run and replace(cursor.run, goal=_come(cursor.run.goal, here))
    return replace(cursor, origin=log.origin, sight=_come(cursor.sight, here), run=run)


def _come(point: Reached, here: Reached) -> Reached:
    """Of a moment that has come: a client can write another into its cursor, and nobody is to be
    asked what they will see."""
    return replace(point, micros=min(point.micros, here.micros))


def _edits_wait(keeper: Keeper, cursor: Cursor, last: Ends) -> bool:
    behind = (cursor.animals, cursor.collections) != (last.animals, last.collections)
    return behind or cursor.profile != keeper.version
