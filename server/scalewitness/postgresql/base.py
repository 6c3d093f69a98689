"""The engine itself; Django looks for it under this name."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db.backends.postgresql import base
from django.db.utils import DatabaseErrorWrapper, InterfaceError, OperationalError
from django.utils.functional import cached_property
from psycopg.errors import (
    Diagnostic,
    IdleInTransactionSessionTimeout,
    ReadOnlySqlTransaction,
)

from scalewitness.postgresql import CommitUnknown
from scalewitness.postgresql.hanging_up import LINES

TIMEOUT = "commit_timeout"
"""Among a database's OPTIONS: seconds to wait for the answer to a COMMIT; 0: for ever. PostgreSQL's
own `statement_timeout` ends before it waits for a standby."""

WARNING = "01000"
"""PostgreSQL's SQLSTATE of a warning that is none in particular."""


NOBODYS_FAULT = (ReadOnlySqlTransaction, IdleInTransactionSessionTimeout)
"""Errors that the driver takes for ours: this PostgreSQL is not the primary any more, or not yet;
or it ended a session that was silent in a transaction for too long."""


class _Errors(DatabaseErrorWrapper):
    """As Django translates the driver's errors, but that `NOBODYS_FAULT` is an OperationalError:
    nothing is wrong with what was sent, and a little later it may well be possible."""

    def __exit__(self, exc_type: Any, exc_value: Any, traceback: Any) -> None:
        if exc_type is not None and issubclass(exc_type, NOBODYS_FAULT):
            self.wrapper.errors_occurred = True  # type: ignore[attr-defined]  # of the stubs
            raise OperationalError(*exc_value.args).with_traceback(traceback) from exc_value
        super().__exit__(exc_type, exc_value, traceback)


class DatabaseWrapper(base.DatabaseWrapper):
    """Raises `CommitUnknown` from a commit of which nobody knows whether it holds, and an
    OperationalError where the server is at fault."""

    @cached_property
    def wrap_database_errors(self) -> DatabaseErrorWrapper:
        """What every statement is asked within."""
        return _Errors(self)

    def get_connection_params(self) -> dict[str, Any]:
        found: dict[str, Any] = super().get_connection_params()
        found.pop(TIMEOUT, None)
        return found

    def _commit(self) -> None:
        line = self.connection
        if line is None or line.closed:  # nothing is sent, so the outcome is known
            super()._commit()  # type: ignore[misc]  # the stubs have no such method
            return
        seconds = float(self.settings_dict["OPTIONS"].get(TIMEOUT, 0))
        try:
            with _warnings_of(line) as warnings, LINES.hung_up_after(seconds, line.fileno()):
                super()._commit()  # type: ignore[misc]  # the stubs have no such method
        except (OperationalError, InterfaceError) as fault:
            # An error on a line that holds is PostgreSQL's word that it rolled back.
            if line.closed:
                raise CommitUnknown("The line broke during a commit.") from fault
            raise
        if WARNING in warnings:
            raise CommitUnknown("PostgreSQL warned of a commit: no standby may have it.")


@contextmanager
def _warnings_of(line: Any) -> Iterator[list[str | None]]:
    """The SQLSTATEs of what PostgreSQL remarks within the block. When the wait for a standby is
    cancelled it remarks just that, in the server's language, and answers that it committed; a
    plain warning at a commit is nothing else in this database."""
    heard: list[str | None] = []

    def hear(remark: Diagnostic) -> None:
        heard.append(remark.sqlstate)

    line.add_notice_handler(hear)
    try:
        yield heard
    finally:
        line.remove_notice_handler(hear)
