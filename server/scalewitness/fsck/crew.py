"""Processes that share the work: each piece is looked at by one of them, whichever is free."""

import gc
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from multiprocessing import get_context
from os import sched_getaffinity
from types import TracebackType
from typing import Any, Self, TypeVar

from django.db import connection, connections

from scalewitness.ledger.queries.tree import tip

P = TypeVar("P")
R = TypeVar("R")

AHEAD = 2
"""Pieces that are handed out for each process, so that none waits for this one."""


SELDOM = (50_000, 20, 1_000)
"""How seldom garbage is looked for: a stretch is tens of thousands of values that all stay until it
is done, and nearly half of the time went into looking at them again and again."""


class Crew:
    """Does pieces of work and answers in the order of the pieces, so that the answers do not tell
    how many did it. One alone works in this process, as everybody does inside a transaction that
    is open: another process would not see what that one has changed.

    What is handed out and not answered yet is all that is held."""

    def __init__(self, processes: int) -> None:
        self.processes = 1 if connection.in_atomic_block else max(processes, 1)
        self._pool: ProcessPoolExecutor | None = None

    def __enter__(self) -> Self:
        self._collects = gc.get_threshold()
        gc.freeze()  # what is shared stays shared: no collector writes to it
        gc.set_threshold(*SELDOM)
        if self.processes > 1:
            database: Any = connection  # it may be pooled
            connections.close_all()
            database.close_pool()  # else they would all speak over what they inherit
            self._pool = ProcessPoolExecutor(self.processes, get_context("fork"))
            self._pool.submit(int).result()  # all are there before a connection is opened here
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        where: TracebackType | None,
    ) -> None:
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)
        gc.set_threshold(*self._collects)
        gc.unfreeze()

    def each(self, work: Callable[[P], R], pieces: Iterable[P]) -> Iterator[R]:
        """What ``work``, a function of a module, comes to for each piece."""
        if self._pool is None:
            yield from map(work, pieces)
            return
        out: deque[Future[R]] = deque()
        for piece in pieces:
            out.append(self._pool.submit(work, piece))
            if len(out) > AHEAD * self.processes:
                yield out.popleft().result()
        while out:
            yield out.popleft().result()


SMALL = 10_000
"""Entries that one process has looked at before others are under way (our judgement)."""


def fitting_processes() -> int:
    """One for each core that this process may use, for a log that is worth it."""
    return len(sched_getaffinity(0)) if tip().size >= SMALL else 1
