"""Reading from a streaming replica of the database, where it shows what the primary would.

A request that only reads may be answered from a replica that has applied everything committed on
the primary by the time the request came in. Whether it has is found out for each request: from the
replica, how far it has applied the write-ahead log; and from the primary, how far that has come, by
a question that all share who came in before it was sent (`replica.primary`). So nothing that was
revoked, erased or just written is seen otherwise than at the primary.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from threading import Lock
from time import monotonic, sleep
from typing import Any, Final, NamedTuple

import psycopg
import structlog
from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, OperationalError, connections
from django.db.transaction import TransactionManagementError

from scalewitness.monitoring.measures import READS
from scalewitness.replica.primary import PRIMARY, Moment

log = structlog.get_logger()

ALIAS: Final = "replica"
LEFT_ALONE: Final = 2.0
"""Seconds for which a replica that was away, or too far behind, is not tried again: else everyone
would wait for it in turn (our judgement)."""
PAUSES: Final = (0.001, 0.02)
"""Seconds between looks at a replica that is not there yet: the first, doubled up to the last."""

APPLIED: Final = """
SELECT pg_is_in_recovery() AND lpad(upper(to_hex(timeline_id)), 8, '0') = %s,
  pg_last_wal_replay_lsn() >= %s::pg_lsn
FROM pg_control_checkpoint()
"""
"""Places in the log compare on one timeline only: after a failover a replica may hold what the new
primary never had."""
LAG: Final = """
SELECT pg_wal_lsn_diff(%s::pg_lsn, pg_last_wal_replay_lsn()),
  extract(epoch FROM clock_timestamp() - pg_last_xact_replay_timestamp())
"""


class Lag(NamedTuple):
    """Of the replica: ``bytes`` of the write-ahead log yet to apply, and ``seconds`` since what it
    applied last was committed; 0 where nothing is left to apply."""

    bytes: int
    seconds: float


class _Rest:
    """How long the replica is left alone. Afterwards one finds out whether it is back, and the
    others go on without it until then."""

    def __init__(self) -> None:
        self._guard = Lock()
        self._until = 0.0

    def is_over(self) -> bool:
        with self._guard:
            now, until = monotonic(), self._until
            if until and now >= until:
                self._until = now + LEFT_ALONE
            return now >= until

    def begin(self) -> None:
        with self._guard:
            self._until = monotonic() + LEFT_ALONE

    def end(self) -> None:
        with self._guard:
            self._until = 0.0


REST = _Rest()


def is_configured() -> bool:
    return ALIAS in connections.settings


class ReplicaReader:
    """What one request reads from. While it is the replica, that is this thread's ``default``
    connection: whatever is asked goes there, and whatever would write is refused by it."""

    def __init__(self) -> None:
        self._primary = connections[DEFAULT_DB_ALIAS]
        self._replica = connections[ALIAS]
        self.failed = False
        """Whether a statement failed at the replica."""

    @property
    def at_replica(self) -> bool:
        return connections[DEFAULT_DB_ALIAS] is self._replica

    def turn(self, since: float | None) -> None:
        """To the replica, if it is there and has applied what the primary had committed ``since``
        a moment of the monotonic clock; it is waited for ``DATABASE_REPLICA_WAIT`` seconds at
        most. Without a moment however far it is: for what is right whenever it is found at all.

        Raises:
            OperationalError: the primary cannot be asked.
        """
        if not REST.is_over():
            READS.labels("resting").inc()
            return
        moment = None if since is None else PRIMARY.since(since)
        try:
            self._replica.ensure_connection()
            found = "replica" if moment is None or self._applied(moment) else "behind"
        except OperationalError as fault:
            log.warning("replica_away", error=type(fault.__cause__ or fault).__name__)
            found = "away"
        READS.labels(found).inc()
        if found == "replica":
            REST.end()
            self._replica.execute_wrappers.append(self._watched)
            connections[DEFAULT_DB_ALIAS] = self._replica
        else:
            REST.begin()
            self._replica.close()

    def leave(self) -> None:
        """Back to the primary. Raises TransactionManagementError in the middle of a transaction."""
        if not self.at_replica:
            return
        if self._replica.in_atomic_block:
            raise TransactionManagementError("What was begun at a replica cannot end elsewhere.")
        self._replica.execute_wrappers.remove(self._watched)
        self.failed |= self._replica.errors_occurred  # as where it cannot be connected to any more
        if self.failed:
            REST.begin()
        self._replica.close()
        connections[DEFAULT_DB_ALIAS] = self._primary

    def _watched(self, execute: Any, *statement: Any) -> Any:
        try:
            return execute(*statement)
        except OperationalError:
            self.failed = True  # Django forgets it when it rolls back
            raise

    def _applied(self, moment: Moment) -> bool:
        until = monotonic() + settings.DATABASE_REPLICA_WAIT
        pause, longest = PAUSES
        while True:
            follows, applied = _row(self._replica, APPLIED, (moment.timeline, moment.reached))
            if not follows or applied or monotonic() >= until:
                return bool(follows and applied)
            sleep(pause)
            pause = min(2 * pause, longest)


_reader: ContextVar[ReplicaReader | None] = ContextVar("reader", default=None)


@contextmanager
def reading() -> Iterator[ReplicaReader]:
    """For the block there is somebody to turn to the replica, and to leave it."""
    reader = ReplicaReader()
    before = _reader.set(reader)
    try:
        yield reader
    finally:
        _reader.reset(before)
        reader.leave()


def at_primary() -> None:
    """From here on this request is the primary's: for the few that have to write something before
    they can answer what was asked."""
    reader = _reader.get()
    if reader is not None:
        reader.leave()


def look_again(since: float) -> None:
    """As for a request that came in at this moment of the monotonic clock: for one that waited
    until then, and is to see what is so now."""
    reader = _reader.get()
    if reader is not None and not connections[DEFAULT_DB_ALIAS].in_atomic_block:
        reader.leave()
        reader.turn(since)


def lag() -> Lag | None:
    """How far the replica is behind now; None while it cannot be asked, or is none.

    Raises:
        OperationalError: the primary cannot be asked.
    """
    reached = PRIMARY.since(monotonic()).reached
    replica = connections[ALIAS]
    try:
        behind, seconds = _row(replica, LAG, (reached,))
    except OperationalError:
        return None
    finally:
        replica.close()
    if behind is None:
        return None
    return Lag(max(0, int(behind)), float(seconds or 0) if behind > 0 else 0.0)


def _row(database: Any, sql: str, values: tuple[str, ...] = ()) -> tuple[Any, ...]:
    """The one row of a statement that is always in the same words, so that it is planned once."""
    database.ensure_connection()
    with database.wrap_database_errors:
        rows: list[tuple[Any, ...]] = (
            psycopg.Cursor(database.connection).execute(sql, values).fetchall()
        )
    return rows[0]
