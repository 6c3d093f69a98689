"""Whose picture is decoded now, among the threads of one process.

Decoding takes some hundred megabytes and a second or two (`domain/pictures`). One at a time, so
that many uploads at once do not add up; and few may wait, so that they do not hold the threads
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

PATIENCE = 10.0
"""Seconds that anyone waits; the slowest picture takes some two (our judgement)."""
MOST_WAITING = 4
"""At a time, whoever's turn it is among them; a quarter of a process's threads (our judgement)."""
MOST_OF_ONE = 2
"""Of one person among them; phone and command send one after the other (our judgement)."""

_TURNS: Turns[None] = Turns()


class _Room:
    """Who is in it, by person."""

    def __init__(self) -> None:
        self._guard = Lock()
        self._inside: Counter[UUID | None] = Counter()

    def enter(self, person: UUID | None) -> None:
        """Raises Busy: there is no room."""
        with self._guard:
            if self._inside.total() >= MOST_WAITING or self._inside[person] >= MOST_OF_ONE:
                raise Busy()
            self._inside[person] += 1

    def leave(self, person: UUID | None) -> None:
        with self._guard:
            self._inside[person] -= 1
            self._inside += Counter()  # who is not in it is not kept


_ROOM = _Room()


@contextmanager
def drawing_turn(person: UUID | None) -> Iterator[None]:
    """One picture at a time in this process, each person's in their turn.

    Raises:
        Busy: too many wait, or the turn did not come in time.
    """
    _ROOM.enter(person)
    try:
        if not connection.in_atomic_block:
            connection.close()  # back to the pool: whoever waits or draws asks for nothing
        _TURNS.take(person, patience=PATIENCE)
        try:
            yield
        finally:
            _TURNS.leave()
    finally:
        _ROOM.leave(person)
