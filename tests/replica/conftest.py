"""A replica that follows the session's PostgreSQL, and can be held back."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import psycopg
import pytest
from django.db import connections
from tests.api.client import Api
from tests.plugins.services import Services
from tests.waiting import ENOUGH, eventually
from tests.world import World

from scalewitness.monitoring.measures import READS
from scalewitness.replica import ALIAS, REST
from scalewitness.replica.primary import LINE
from scalewitness.settings import postgres
from stack.replica import Replica


@dataclass
class Following:
    """The replica that the application reads from. It waits for it as long as it takes, and not at
    all while it is held back."""

    url: str
    settings: Any

    def told(self, sql: str) -> Any:
        """What the replica itself says, whatever the application may."""
        with psycopg.connect(self.url, autocommit=True) as connection:
            found = connection.execute(sql.encode())
            return found.fetchone() if found.description else None

    def catch_up(self) -> None:
        """It has applied all that there is by now."""
        with connections["default"].cursor() as cursor:
            cursor.execute("SELECT pg_current_wal_insert_lsn()::text")
            [now] = cursor.fetchone()
        sql = f"SELECT pg_last_wal_replay_lsn() >= '{now}'"
        eventually(lambda: self.told(sql)[0], "the replica to catch up")

    @contextmanager
    def held_back(self) -> Iterator[None]:
        """It applies nothing that comes in within the block."""
        self.told("SELECT pg_wal_replay_pause()")
        eventually(lambda: self._is_paused(), "the replica to stand still")
        self.settings.DATABASE_REPLICA_WAIT = 0
        try:
            yield
        finally:
            self.told("SELECT pg_wal_replay_resume()")
            self.settings.DATABASE_REPLICA_WAIT = ENOUGH
            REST.end()

    def wait_long(self) -> None:
        """For a replica that is held back, too."""
        self.settings.DATABASE_REPLICA_WAIT = ENOUGH

    def _is_paused(self) -> bool:
        return bool(self.told("SELECT pg_get_wal_replay_pause_state() = 'paused'")[0])


@contextmanager
def read_from(*where: str) -> Iterator[None]:
    """All that is asked within the block is answered from there, as the application counts it;
    after a first look at a replica that is no use it is left alone."""
    REST.end()
    before = _counts()
    yield
    after = _counts()
    more = {what: count - before.get(what, 0) for what, count in after.items()}
    assert {what for what, count in more.items() if count} - {"resting"} == set(where)


def _counts() -> dict[str, float]:
    samples = next(iter(READS.collect())).samples
    return {one.labels["outcome"]: one.value for one in samples if one.name.endswith("_total")}


@pytest.fixture(scope="session")
def replica_server(services: Services) -> Replica:
    server = services.follow()
    if server is None:
        pytest.skip("the replica follows a PostgreSQL of the session's own; DATABASE_URL names one")
    return server


@pytest.fixture
def replica(
    lasting_world: World,
    replica_server: Replica,
    settings: Any,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Following]:
    """Of the database of `lasting_world`, with the rights of the web."""
    own = connections["default"].settings_dict
    monkeypatch.setenv("DATABASE_REPLICA_URL", replica_server.app_url(own["NAME"]))
    made: Any = postgres.replica("DATABASE_REPLICA_URL")
    made["OPTIONS"]["pool"]["timeout"] = ENOUGH
    settings.DATABASE_REPLICA_WAIT = ENOUGH
    connections.settings[ALIAS] = {**own, **made}
    REST.end()
    following = Following(replica_server.superuser_url("postgres"), settings)
    following.catch_up()
    yield following
    LINE.close()
    connections[ALIAS].close()
    connections[ALIAS].close_pool()
    del connections[ALIAS]
    del connections.settings[ALIAS]


@pytest.fixture
def odile(lasting_world: World) -> Api:
    return Api(lasting_world.odile)


@pytest.fixture
def path(lasting_world: World) -> str:
    return f"/animals/{lasting_world.animal('A-1').pk}"
