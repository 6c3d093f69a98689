"""PostgreSQL that waits with each commit for a standby which never comes, and an operator who does
something about it.

Only this connection's commits wait: what the tests' server is told to trade for speed holds for
all others.
"""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from itertools import count
from threading import Event
from typing import Final

import psycopg
import pytest
from django.db import connection
from tests.plugins.environment import SERVICES
from tests.waiting import LOOK

CANCEL: Final = "SELECT pg_cancel_backend(pid) FROM pg_stat_activity WHERE {waits}"
END: Final = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE {waits}"
WAITS: Final = "wait_event = 'SyncRep' AND datname = '{database}'"


class Operator:
    """At a prompt, as the superuser, beside whoever waits."""

    def __init__(self, hand: "psycopg.Connection[tuple[object, ...]]") -> None:
        self._hand = hand
        self._waits = WAITS.format(database=connection.settings_dict["NAME"])

    @contextmanager
    def at_each_wait(self, statement: str) -> Iterator[None]:
        """Within the block this is done to whoever waits for a standby; somebody has to."""
        query, over = statement.format(waits=self._waits).encode(), Event()

        def look() -> int:
            done = 0
            while not over.wait(LOOK):
                done += len(self._hand.execute(query).fetchall())
            return done

        with ThreadPoolExecutor(1) as threads:
            done = threads.submit(look)
            try:
                yield
            finally:
                over.set()
        assert done.result(), "nobody waited for a standby"

    def let_all_go(self) -> None:
        """No standby is to be waited for any more."""
        self.name_standbys("")

    def name_standbys(self, names: str) -> None:
        self._hand.execute(f"ALTER SYSTEM SET synchronous_standby_names = '{names}'".encode())
        self._hand.execute("SELECT pg_reload_conf()")


@contextmanager
def no_standby() -> Iterator[Operator]:
    """Within the block, once PostgreSQL knows of it."""
    address = SERVICES.superuser_url
    if address is None:
        pytest.skip("PostgreSQL is not ours to set up: DATABASE_SUPERUSER_URL is not given")
    with psycopg.connect(address, autocommit=True) as hand:
        operator = Operator(hand)
        operator.name_standbys("nobody")
        try:
            with connection.cursor() as cursor:
                cursor.execute("SET synchronous_commit = on")
            yield operator
        finally:
            operator.let_all_go()
            connection.close()


@contextmanager
def waiting_at(monkeypatch: pytest.MonkeyPatch, number: int) -> Iterator[None]:
    """Of the commits within the block only that of this number, from 1, waits for a standby."""
    commit, done = connection.commit, count(1)

    def commit_in_its_way() -> None:
        if next(done) != number:
            with connection.cursor() as cursor:
                cursor.execute("SET LOCAL synchronous_commit = off")
        commit()

    with monkeypatch.context() as patch:
        patch.setattr(connection, "commit", commit_in_its_way)
        yield
