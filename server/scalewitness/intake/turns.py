"""Whose turn it is to write, among the threads of one process."""

from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock

from django.db import transaction

_TURN = Lock()


@contextmanager
def own_turn() -> Iterator[None]:
    """One batch at a time in this process.

    The log's lock lets one write at a time anyway, in all processes. A thread of the same
    process that prepares the next batch meanwhile takes the interpreter from the one that
    holds that lock, and so the time of everyone who waits for it.

    Inside a transaction begun elsewhere there is no waiting: it may hold the log's lock, for
    which whoever has the turn waits.
    """
    if transaction.get_connection().in_atomic_block:
        yield
    else:
        with _TURN:
            yield
