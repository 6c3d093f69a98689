"""One clock, on however many hosts it is run."""

from concurrent.futures import ThreadPoolExecutor
from threading import Event, Thread

import psycopg
import pytest
from django.db import connection
from tests.plugins.environment import SERVICES
from tests.waiting import ENOUGH
from tests.world import World

from scalewitness.intake.management.commands import beat


def another_takes_it() -> bool:
    """Of a session of its own, which ends."""

    def ask() -> bool:
        try:
            return beat._asked(beat.TAKE, [beat.LOCK])
        finally:
            connection.connection.close()
            connection.close()

    with ThreadPoolExecutor(1) as thread:
        return thread.submit(ask).result()


def test_one_has_the_lock_until_its_session_ends_and_then_ends_itself(
    lasting_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    ended: list[int] = []
    monkeypatch.setattr(beat.os, "_exit", ended.append)
    monkeypatch.setattr(beat, "LOOKS", 0.05)
    ours = Event()
    holder = Thread(target=beat._hold, args=[ours], daemon=True)
    assert another_takes_it()
    holder.start()
    assert ours.wait(ENOUGH)
    assert not another_takes_it()
    address = SERVICES.superuser_url or SERVICES.owner_url
    name = connection.settings_dict["NAME"]
    with psycopg.connect(address, dbname=name, autocommit=True) as hand:
        hand.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_locks WHERE locktype = 'advisory' "
            "AND (classid::bigint << 32) + objid::bigint = %s",
            [beat.LOCK],
        )
    holder.join(ENOUGH)
    assert (holder.is_alive(), ended) == (False, [1])
    assert another_takes_it()
