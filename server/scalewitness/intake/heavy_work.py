"""Work that takes much memory is done by one thread of a process at a time: decoding a picture,
setting a paper.

So many requests at once do not add up; and few may wait, so that they do not hold the threads
that everyone else needs.
"""

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock
from uuid import UUID

from django.db import connection

from scalewitness.domain.errors import Busy
from scalewitness.intake.turns import Turns

TIMEOUT = 10.0
"""Seconds that anyone waits; the slowest picture takes some two (our judgement)."""
MOST_WAITING = 4
"""At a time, whoever's turn it is among them (our judgement)."""
MOST_OF_ONE = 2
"""Of one person among them; phone and command send one after the other (our judgement)."""


class OneAtATime:
    """``most_of_one``: how many of one person may be in it, the one whose turn it is included."""

    def __init__(self, most_of_one: int = MOST_OF_ONE) -> None:
        self._most_of_one = most_of_one
        self._turns: Turns[None] = Turns()
        self._guard = Lock()
        self._inside: Counter[UUID | None] = Counter()

    @property
    def inside(self) -> int:
        """How many wait or have their turn."""
        return self._inside.total()

    @contextmanager
    def turn(self, person: UUID | None) -> Iterator[None]:
        """Each person's in their turn.

        Raises:
            Busy: too many wait, or the turn did not come in time.
        """
        self._enter(person)
        try:
            if not connection.in_atomic_block:
                connection.close()  # back to the pool: whoever waits or works asks for nothing
            self._turns.take(person, timeout=TIMEOUT)
            try:
                yield
            finally:
                self._turns.leave()
        finally:
            self._leave(person)

    def _enter(self, person: UUID | None) -> None:
        with self._guard:
            if self.inside >= MOST_WAITING or self._inside[person] >= self._most_of_one:
                raise Busy()
            self._inside[person] += 1

    def _leave(self, person: UUID | None) -> None:
        with self._guard:
            self._inside[person] -= 1
            self._inside += Counter()  # who is not in it is not kept


DECODING = OneAtATime()
"""Decoding a picture takes some hundred megabytes (`domain/pictures`)."""
