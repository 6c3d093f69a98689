"""What may be read from a replica writes nothing: in tests PostgreSQL itself refuses it.

Wherever a test's transaction is open, a request that a replica could answer is answered in a part
of it that is read only. What the request has to write at the primary ends that part, as it would
leave the replica.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from django.db import connection
from django.http import HttpRequest, HttpResponseBase
from psycopg.pq import TransactionStatus

from scalewitness import replica
from scalewitness.serving.replicas import ReadFromReplica, may_be_read_there


class OnlyReads:
    """Middleware in place of `ReadFromReplica`; where a test has a replica, that one."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self._answer = get_response
        self._from_replica = ReadFromReplica(get_response) if replica.is_configured() else None

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if self._from_replica is not None:
            return self._from_replica(request)
        if not may_be_read_there(request) or not connection.in_atomic_block:
            return self._answer(request)
        with _read_only():
            return self._answer(request)


class _Part:
    """Of a transaction, in which nothing can be written; in place of a `replica.ReplicaReader`."""

    def __init__(self) -> None:
        self._within = len(connection.savepoint_ids)
        self._driver: Any = connection.connection  # Django's log of queries has only the view's
        self._goes_on = True
        self._driver.execute("SAVEPOINT reading_only")
        self._driver.execute("SET TRANSACTION READ ONLY")

    def leave(self) -> None:
        if not self._goes_on:
            return
        assert len(connection.savepoint_ids) == self._within, "left in the middle of a transaction"
        self._goes_on = False
        if self._driver.info.transaction_status == TransactionStatus.INERROR:
            self._driver.execute("ROLLBACK TO SAVEPOINT reading_only")
        self._driver.execute("RELEASE SAVEPOINT reading_only")

    def turn(self, since: float) -> None:
        """The part has ended for good."""


@contextmanager
def _read_only() -> Iterator[None]:
    part: Any = _Part()
    before = replica._reader.set(part)
    try:
        yield
    finally:
        replica._reader.reset(before)
        part.leave()
