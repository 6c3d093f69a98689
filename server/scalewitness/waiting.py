"""How long whoever asked has been waiting, and whether they still are."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from time import monotonic
from typing import Protocol

from django.db import OperationalError
from psycopg.errors import LockNotAvailable, QueryCanceled
from psycopg_pool import PoolTimeout


class Asker(Protocol):
    """Somebody at the other end of a line."""

    @property
    def seen_at(self) -> float:
        """The moment of the monotonic clock by which they had asked for certain."""

    def waited(self) -> float:
        """Seconds since they asked."""

    def is_gone(self) -> bool:
        """Whether nobody is there to hear the answer."""


_asker: ContextVar[Asker | None] = ContextVar("asker", default=None)


@contextmanager
def answering(asker: Asker) -> Iterator[None]:
    """Whatever is done within the block is done for them."""
    before = _asker.set(asker)
    try:
        yield
    finally:
        _asker.reset(before)


def time_left(seconds: float) -> float:
    """What is left of so many seconds since somebody asked; all where nobody did, as with a
    command or the worker."""
    asker = _asker.get()
    return seconds if asker is None else max(0.0, seconds - asker.waited())


def seen_at() -> float:
    """The moment of the monotonic clock by which somebody had asked for certain; now where nobody
    did."""
    asker = _asker.get()
    return monotonic() if asker is None else asker.seen_at


def nobody_waits() -> bool:
    """Whether somebody asked and has gone since."""
    asker = _asker.get()
    return asker is not None and asker.is_gone()


def was_held_up(fault: BaseException | None) -> bool:
    """Whether a statement failed for having waited too long: for a lock, for its own end or
    for a connection. Trying again at once would only wait as long again."""
    while fault is not None:
        if isinstance(fault, LockNotAvailable | QueryCanceled | PoolTimeout):
            return True
        fault = fault.__cause__ if isinstance(fault, OperationalError) else None
    return False
