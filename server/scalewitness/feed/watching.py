"""Waiting for a change without asking the database once for each who waits.

One thread a process looks at the ends of the log and of the edits, a few times a second and
only while somebody waits, and calls those whom a change may concern. Whoever waits sleeps and holds
no connection.
"""

import threading
from collections.abc import Iterable
from datetime import datetime
from typing import Final
from uuid import UUID

import structlog
from django.db import DatabaseError, connection

from scalewitness.feed.concerned import concerned
from scalewitness.feed.queries import Ends, log_now
from scalewitness.monitoring.measures import FEED_WAITING

log = structlog.get_logger()

LOOKS_APART: Final = 0.25
"""Seconds; a change is answered within one (our judgement)."""


class _Waiter:
    """Somebody who knows everything up to ``known``, or is told nothing by the rest up to it."""

    def __init__(self, keeper: UUID, known: Ends) -> None:
        self.keeper, self.known = keeper, known
        self.called = threading.Event()


class Watcher:
    """Lets many wait for a change; ``most`` at a time."""

    def __init__(self, most: int) -> None:
        self._room = threading.BoundedSemaphore(most)
        self._guard = threading.Lock()
        self._waiters: set[_Waiter] = set()
        self._looking = False

    @property
    def waiting(self) -> int:
        """How many wait at this moment."""
        return len(self._waiters)

    def enter(self) -> bool:
        """Take one of the places to wait in; False when there is none."""
        entered = self._room.acquire(blocking=False)
        FEED_WAITING.inc(entered)
        return entered

    def leave(self) -> None:
        FEED_WAITING.dec()
        self._room.release()

    def wait(self, keeper: UUID, known: Ends, seconds: float) -> None:
        """Return when something after ``known`` may concern the keeper, or after some seconds."""
        one = _Waiter(keeper, known)
        with self._guard:
            self._waiters.add(one)
            self._look_out()
        try:
            one.called.wait(max(0.0, seconds))
        finally:
            with self._guard:
                self._waiters.discard(one)

    def _look_out(self) -> None:
        if not self._looking:
            self._looking = True
            threading.Thread(target=self._look, name="feed-watcher", daemon=True).start()

    def _look(self) -> None:
        while True:
            with self._guard:
                # The last one to leave is noticed here, so that no thread outlives the need.
                if not self._waiters:
                    self._looking = False
                    return
                waiters = list(self._waiters)
            _call(waiters)
            threading.Event().wait(LOOKS_APART)


def _call(waiters: Iterable[_Waiter]) -> None:
    """With a connection that goes back at once; nobody is called while the database is away."""
    try:
        ends = log_now().ends
        for known in {one.known for one in waiters} - {ends}:
            found = concerned(known, ends)
            for one in (one for one in waiters if one.known == known):
                if found is None or one.keeper in found:
                    one.called.set()
                else:
                    one.known = ends
    except DatabaseError as away:
        log.warning("feed_not_watched", error=type(away).__name__)
    finally:
        connection.close()


def give_back_connection() -> None:
    """Back to the pool while this thread sleeps; not out of a transaction."""
    if not connection.in_atomic_block:
        connection.close()


def seconds_until(turn: datetime | None, now: datetime) -> float:
    """Seconds to a moment; endless where there is none."""
    return float("inf") if turn is None else max(0.0, (turn - now).total_seconds())
