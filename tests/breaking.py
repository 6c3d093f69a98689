"""Breaking writes: the connection lost before a statement, or after a commit."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import count
from typing import Any
from unittest.mock import patch

import pytest
from django.apps import apps
from django.db import OperationalError, connection
from psycopg import Cursor


@contextmanager
def lost_after(statements: int) -> Iterator[list[str]]:
    """The connection fails at the next statement after so many, and at all later ones.

    Yields the statements that were let through.
    """
    through: list[str] = []

    def gate(execute: Callable[..., Any], sql: str, *rest: Any) -> Any:
        if len(through) >= statements:
            raise OperationalError("the connection is lost")
        through.append(sql)
        return execute(sql, *rest)

    def gate_copy(cursor: Any, statement: Any, *rest: Any, **more: Any) -> Any:
        return gate(lambda *_: copy(cursor, statement, *rest, **more), str(statement))

    copy = Cursor.copy
    with connection.execute_wrapper(gate), patch.object(Cursor, "copy", gate_copy):
        yield through


@contextmanager
def answer_lost(monkeypatch: pytest.MonkeyPatch, number: int) -> Iterator[None]:
    """The commit of this number, from 1, is done, and then the connection fails before it can
    say so."""
    commit, done = connection.commit, count(1)

    def commit_and_fail() -> None:
        commit()
        if next(done) == number:
            raise OperationalError("the connection is lost")

    with monkeypatch.context() as patch:
        patch.setattr(connection, "commit", commit_and_fail)
        yield


def stored() -> dict[str, int]:
    """How many rows each table has, asked in one statement."""
    tables = [model._meta.db_table for model in apps.get_models()]
    counts = (f"SELECT '{table}', count(*) FROM {table}" for table in tables)  # noqa: S608
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(counts))
        return dict(cursor.fetchall())
