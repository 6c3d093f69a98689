"""The engine itself; Django looks for it under this name."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db.backends.postgresql import base
from django.db.utils import InterfaceError, OperationalError
from psycopg.errors import Diagnostic

from scalewitness.postgresql import CommitUnknown
from scalewitness.postgresql.hanging_up import LINES

TIMEOUT = "commit_timeout"
"""Among a database's OPTIONS: seconds to wait for the answer to a COMMIT; 0: for ever. PostgreSQL's
own `statement_timeout` ends before it waits for a standby."""

WARNING = "01000"
"""PostgreSQL's SQLSTATE of a warning that is none in particular."""


class DatabaseWrapper(base.DatabaseWrapper):
    """Raises `CommitUnknown` from a commit of which nobody knows whether it holds."""

    def get_connection_params(self) -> dict[str, Any]:
        found: dict[str, Any] = super().get_connection_params()
        found.pop(TIMEOUT, None)
        return found

    def _commit(self) -> None:
        line = self.connection
        if line is None:
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
