"""Reading many things as they were at one moment."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db import connection, transaction
from psycopg import IsolationLevel


@contextmanager
def snapshot(of: str | None = None) -> Iterator[None]:
    """Everything read inside is of one moment, and nothing can be written; inside a
    transaction that is open already, as that one has it. ``of``: another connection's moment, as
    it was :func:`shared` there, while that one goes on."""
    if connection.in_atomic_block:
        with transaction.atomic():
            yield
        return
    connection.ensure_connection()
    # Said to the driver, so that it comes with the statement that begins the transaction.
    driver: Any = connection.connection
    driver.isolation_level, driver.read_only = IsolationLevel.REPEATABLE_READ, True
    try:
        with transaction.atomic():
            if of is not None:
                with connection.cursor() as cursor:
                    cursor.execute("SET TRANSACTION SNAPSHOT %s", [of])
            yield
    finally:
        if not driver.closed:
            driver.isolation_level, driver.read_only = None, None


def shared() -> str:
    """The name by which other connections can read as of the moment of the open snapshot."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_export_snapshot()")
        return str(cursor.fetchone()[0])
