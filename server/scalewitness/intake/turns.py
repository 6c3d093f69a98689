"""Whose turn it is to write, among the threads of one process.

The log's lock lets one write at a time anyway, in all processes, and PostgreSQL lets them have
it in the order they came. A thread of the same process that prepares the next batch meanwhile
takes the interpreter from the one that holds that lock, and so the time of everyone who waits
for it.
"""

from collections import OrderedDict, deque
from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Event, Lock
from typing import Generic, TypeVar
from uuid import UUID

from scalewitness.domain.errors import Busy

L = TypeVar("L")

TIMEOUT = 1.5
"""Seconds after they asked that anyone waits for their turn. Turns last a tenth of a second at
most, so whoever waits longer waits for a log that nobody lets go of (our judgement; with the
``lock_timeout`` that the web's connections have, its sender is told so within 5 s)."""


@dataclass(eq=False, slots=True)
class Waiting(Generic[L]):
    """Somebody in line. ``load``: what another may do for them in their own turn."""

    person: UUID | None
    load: L | None
    called: Event = field(default_factory=Event)
    served: bool = False


class Turns(Generic[L]):
    """One holder at a time. Those who wait get it by person, one after the other, so that
    somebody with many requests waits behind everyone else after each of them."""

    def __init__(self) -> None:
        self._guard = Lock()
        self._taken = False
        self._line: OrderedDict[UUID | None, deque[Waiting[L]]] = OrderedDict()

    def take(
        self,
        person: UUID | None,
        load: L | None = None,
        timeout: float = TIMEOUT,
        before_waiting: Callable[[], object] = lambda: None,
    ) -> bool:
        """Wait for the turn. True: it has come, and is to be left again; False: another, whose
        turn it was, took the ``load`` along, and has done with it.

        Raises:
            Busy: it did not come.
        """
        with self._guard:
            if not self._taken:
                self._taken = True
                return True
            mine = Waiting(person, load)
            self._line.setdefault(person, deque()).append(mine)
        try:
            before_waiting()
            if not mine.called.wait(timeout) and self._left_the_line(mine):
                raise Busy()
            mine.called.wait()  # where its load was taken along: it ends with that turn
        except Busy:
            raise
        except BaseException:
            self._step_out(mine)
            raise
        return not mine.served

    def along(self, most: int) -> "list[Waiting[L]]":
        """For who has the turn: those with a load to be done in it as well, at most so many.
        They wait until :meth:`leave`."""
        found: list[Waiting[L]] = []
        with self._guard:
            while len(found) < most and (one := self._next(loaded=True)):
                one.served = True
                found.append(one)
        return found

    def leave(self, served: "list[Waiting[L]] | None" = None) -> None:
        """Let the next one in, and those go whose load was taken along."""
        with self._guard:
            following = self._next()
            self._taken = following is not None
        for one in (following, *(served or ())):
            if one is not None:
                one.called.set()

    def _next(self, *, loaded: bool = False) -> "Waiting[L] | None":
        """Out of the line: the first of the first person, who then stands behind all others.
        ``loaded``: of the first whose own first has a load."""
        for person, line in self._line.items():
            if line[0].load is not None or not loaded:
                del self._line[person]
                first = line.popleft()
                if line:
                    self._line[person] = line
                return first
        return None

    def _step_out(self, mine: Waiting[L]) -> None:
        """Something went wrong while waiting: nobody may be left to wait for this one."""
        if not self._left_the_line(mine):
            mine.called.wait()
            if not mine.served:
                self.leave()

    def _left_the_line(self, mine: Waiting[L]) -> bool:
        """Whether it was still in the line, and is no more."""
        with self._guard:
            line = self._line.get(mine.person, deque())
            if mine not in line:
                return False
            line.remove(mine)
            if not line:
                del self._line[mine.person]
            return True
