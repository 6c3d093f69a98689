"""Waiting for a server that may have stopped without a word."""

from typing import Any, Final

import psycopg
from psycopg.pq import TransactionStatus

STATEMENT_TIMEOUT: Final = 3.0
"""Seconds for one statement (our judgement). PostgreSQL's own is no help with a
server that was stopped, or whose disk hangs."""


class Impatient(psycopg.Connection[Any]):
    """A connection on which no statement is waited for longer than ``STATEMENT_TIMEOUT``."""

    def wait(self, gen: Any, interval: float = 0.1, timeout: float | None = None) -> Any:
        try:
            return super().wait(gen, interval, STATEMENT_TIMEOUT if timeout is None else timeout)
        except psycopg.OperationalError:
            if self.pgconn.transaction_status == TransactionStatus.ACTIVE:
                self.pgconn.finish()  # its answer may still come, and would be taken for another's
            raise
