"""Who waits at a replica, and what everybody may read of the log."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import pytest
from django.db import connections
from django.test import Client
from django.utils import timezone
from tests.api.client import Answer, Api
from tests.api.feeding import pull, told
from tests.replica.conftest import Following, read_from
from tests.waiting import ENOUGH, eventually
from tests.world import World

from scalewitness.api.changes import WATCHER
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.replica import ALIAS
from scalewitness.replica.primary import LINE

pytestmark = pytest.mark.one_in(2)


@pytest.fixture
def world(lasting_world: World) -> World:
    lasting_world.now = timezone.now() - timedelta(seconds=5)
    return lasting_world


def test_who_waited_is_told_what_is_so_now(world: World, replica: Following) -> None:
    animal = world.animal("A-1")
    grant = world.view(world.greta, animal)
    greta = Api(world.greta)

    def waits(cursor: str) -> Answer:
        try:
            return greta.get("/changes", cursor=cursor, wait=25)
        finally:
            connections.close_all()

    with read_from("replica"):
        _, cursor = pull(greta)
    with ThreadPoolExecutor(1) as thread, read_from("replica", "behind"):
        waiting = thread.submit(waits, cursor)
        eventually(lambda: WATCHER.waiting, "the request to wait")
        assert Api(world.odile).get("/animals").status == 200  # its question is no use afterwards
        with replica.held_back():
            world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
            items = waiting.result(timeout=ENOUGH).body["items"]
    assert "purge" in told(items)
    eventually(lambda: WATCHER._looking is False, "the watcher to leave")


def test_hashes_are_read_without_asking_the_primary(
    world: World, replica: Following, monkeypatch: pytest.MonkeyPatch
) -> None:
    size = _signed()
    replica.catch_up()

    LINE.close()
    monkeypatch.setitem(connections["default"].settings_dict, "PORT", 1)
    for path in _hashes_of(size):
        with read_from("replica"):
            assert Client().get(path).status_code == 200
    asked = Client(raise_request_exception=False)
    assert asked.get("/api/v1/log/head").status_code == 503


def test_hashes_that_a_replica_lacks_yet_are_the_primarys(world: World, replica: Following) -> None:
    _signed()
    replica.catch_up()
    with replica.held_back():
        world.animal("A-1")
        for path in _hashes_of(_signed()):
            with read_from("replica"):
                assert Client().get(path).status_code == 200


def test_a_proof_that_has_to_be_signed_first_is_the_primarys(
    world: World, replica: Following
) -> None:
    animal = world.animal("A-1")
    call = world.call(world.odile, animal, "male")
    before = tip().size
    with read_from("replica"):
        assert Api(world.odile).get(f"/receipts/{call.id}").status == 200
    assert tip().size > before


def test_a_query_that_recovery_cancels_is_asked_anew(world: World, replica: Following) -> None:
    """As where what it still reads was vacuumed away."""
    world.animal("A-1")
    odile = Api(world.odile)
    conflicts = "SELECT confl_snapshot FROM pg_stat_database_conflicts WHERE datname LIKE '%_copy'"
    replica.told("ALTER SYSTEM SET max_standby_streaming_delay = 0")
    replica.told("SELECT pg_reload_conf()")
    [before] = replica.told(conflicts)

    def watch(execute: Any, sql: Any, *more: Any) -> Any:
        found = execute(sql, *more)
        if "SELECT head.size" in sql:  # the snapshot is taken: now it grows old
            with connections.create_connection("default").cursor() as primary:
                primary.execute("UPDATE people_keeper SET name = name")
                primary.execute("VACUUM people_keeper")
            eventually(lambda: replica.told(conflicts)[0] > before, "the replica to cancel it")
        return found

    try:
        with read_from("replica", "failed"), connections[ALIAS].execute_wrapper(watch):
            assert "snapshot all" in told(odile.get("/changes").body["items"])
    finally:
        replica.told("ALTER SYSTEM RESET max_standby_streaming_delay")
        replica.told("SELECT pg_reload_conf()")


def _signed() -> int:
    return sign_checkpoint(timezone.now()).size


def _hashes_of(size: int) -> list[str]:
    return [
        f"/log/tile/0/000.p/{size}",
        f"/api/v1/log/consistency?old=1&new={size}",
        f"/api/v1/log/inclusion?position=0&size={size}",
    ]
