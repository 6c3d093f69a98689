"""Whose turn it is to write, among the threads of one process."""

from collections import OrderedDict, deque
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Lock
from uuid import UUID

from django.db import transaction

from scalewitness.domain.errors import Busy
from scalewitness.waiting import nobody_waits, patience_left

PATIENCE = 1.5
"""Seconds after they asked that anyone waits for their turn. Turns last a tenth of a second at
most, so whoever waits longer waits for a log that nobody lets go of (our judgement; with the
``lock_timeout`` that the web's connections have, its sender is told so within 5 s)."""


class Turns:
    """One holder at a time. Whoever waits is let in by person, one after the other, so that
    somebody with many requests waits behind everyone else after each of them."""

    def __init__(self) -> None:
        self._guard = Lock()
        self._taken = False
        self._waiting: OrderedDict[UUID | None, deque[Event]] = OrderedDict()

    def take(self, person: UUID | None, patience: float = PATIENCE) -> None:
        """Wait for the turn.

        Raises:
            Busy: it did not come.
        """
        called = Event()
        with self._guard:
            if not self._taken:
                self._taken = True
                return
            self._waiting.setdefault(person, deque()).append(called)
        if not called.wait(patience) and self._given_up(person, called):
            raise Busy()

    def leave(self) -> None:
        """Let the next one in."""
        with self._guard:
            if not self._waiting:
                self._taken = False
                return
            person, line = next(iter(self._waiting.items()))
            called = line.popleft()
            del self._waiting[person]
            if line:
                self._waiting[person] = line  # behind all others
        called.set()

    def _given_up(self, person: UUID | None, called: Event) -> bool:
        """Leave the line; False where the turn has come after all."""
        with self._guard:
            if called.is_set() or called not in self._waiting.get(person, ()):
                return False
            self._waiting[person].remove(called)
            if not self._waiting[person]:
                del self._waiting[person]
            return True


_TURNS = Turns()


@contextmanager
def own_turn(person: UUID | None = None) -> Iterator[None]:
    """One batch at a time in this process, and each person's in their turn.

    The log's lock lets one write at a time anyway, in all processes, and PostgreSQL lets them
    have it in the order they came. A thread of the same process that prepares the next batch
    meanwhile takes the interpreter from the one that holds that lock, and so the time of
    everyone who waits for it.

    Inside a transaction begun elsewhere there is no waiting: it may hold the log's lock, for
    which whoever has the turn waits.

    Raises:
        Busy: the turn did not come in time, or nobody waits for the answer any more.
    """
    if transaction.get_connection().in_atomic_block:
        yield
        return
    _TURNS.take(person, patience_left(PATIENCE))
    try:
        if nobody_waits():
            raise Busy()
        yield
    finally:
        _TURNS.leave()
