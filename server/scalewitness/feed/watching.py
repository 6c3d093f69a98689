"""Waiting for a change without asking the database once for each who waits.

One thread a process looks at the ends of the log and of the edits, a few times a second and
only while somebody waits; whoever waits sleeps on its condition and holds no connection.
"""

import threading
from datetime import datetime
from time import monotonic
from typing import Final

import structlog
from django.db import DatabaseError, connection

from scalewitness.feed.queries import Ends, log_now
from scalewitness.monitoring.measures import FEED_WAITING

log = structlog.get_logger()

LOOKS_APART: Final = 0.25
"""Seconds; a change is answered within one (our judgement)."""


class Watcher:
    """Lets many wait for a change; ``most`` at a time."""

    def __init__(self, most: int) -> None:
        self._room = threading.BoundedSemaphore(most)
        self._changed = threading.Condition()
        self._waiting = 0
        self._ends: Ends | None = None
        self._looking = False

    def enter(self) -> bool:
        """Take one of the places to wait in; False when there is none."""
        entered = self._room.acquire(blocking=False)
        FEED_WAITING.inc(entered)
        return entered

    def leave(self) -> None:
        FEED_WAITING.dec()
        self._room.release()

    def wait(self, known: Ends, seconds: float) -> None:
        """Return when the ends are others than ``known``, or after some seconds."""
        until = monotonic() + seconds
        with self._changed:
            self._waiting += 1
            self._ends = None
            self._look_out()
            try:
                self._changed.wait_for(
                    lambda: self._ends is not None and self._ends != known,
                    timeout=max(0.0, until - monotonic()),
                )
            finally:
                self._waiting -= 1

    def _look_out(self) -> None:
        if not self._looking:
            self._looking = True
            threading.Thread(target=self._look, name="feed-watcher", daemon=True).start()

    def _look(self) -> None:
        while True:
            found = _ends_now()
            with self._changed:
                if found is not None:
                    self._ends = found
                    self._changed.notify_all()
                # The last one to leave is noticed here, so that no thread outlives the need.
                if self._waiting == 0:
                    self._looking = False
                    return
            threading.Event().wait(LOOKS_APART)


def _ends_now() -> Ends | None:
    """With a connection that goes back at once; None while the database is away."""
    try:
        return log_now().ends
    except DatabaseError as away:
        log.warning("feed_not_watched", error=type(away).__name__)
        return None
    finally:
        connection.close()


def give_back_connection() -> None:
    """Back to the pool while this thread sleeps; not out of a transaction."""
    if not connection.in_atomic_block:
        connection.close()


def seconds_until(turn: datetime | None, now: datetime) -> float:
    """Seconds to a moment; endless where there is none."""
    return float("inf") if turn is None else max(0.0, (turn - now).total_seconds())
