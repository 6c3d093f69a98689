"""Waiting for a change: long before the wait is over, empty after it, and not for too many."""

import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.test import Client
from django.utils import timezone
from tests.api.client import Answer, Api
from tests.api.feeding import pull, told
from tests.waiting import ENOUGH, eventually
from tests.world import World, new_id

from scalewitness.animals.services import edit
from scalewitness.api import changes as feed
from scalewitness.api.changes import WATCHER
from scalewitness.domain.moments import rfc3339
from scalewitness.people.services import revoke_device

pytestmark = pytest.mark.one_in(4)

LONG = 25
"""Seconds: the longest wait that can be asked for. What comes in half of it did not come by
the wait being over, however busy the machine is."""


@pytest.fixture
def world(lasting_world: World) -> World:
    """In the present, and committed, so that other threads see it."""
    lasting_world.now = timezone.now() - timedelta(minutes=5)
    return lasting_world


@pytest.fixture
def threads() -> Iterator[ThreadPoolExecutor]:
    with ThreadPoolExecutor(20) as pool:
        yield pool
    eventually(lambda: not watchers(), "the watcher to leave, as nobody waits")


def watchers() -> list[threading.Thread]:
    return [one for one in threading.enumerate() if one.name == "feed-watcher"]


def asked(api: Api, cursor: str, wait: int) -> tuple[Answer, float]:
    """The answer and when it came."""
    try:
        return api.get("/changes", cursor=cursor, wait=wait), time.monotonic()
    finally:
        connection.close()


def while_waiting(
    threads: ThreadPoolExecutor, api: Api, happens: Callable[[], object], wait: int = LONG
) -> tuple[Answer, float]:
    """The answer to a request that waited when something happened, and how long after."""
    _, cursor = pull(api)
    waiting: Future[tuple[Answer, float]] = threads.submit(asked, api, cursor, wait)
    eventually(lambda: WATCHER.waiting, "the request to wait")
    assert not waiting.done()
    began = time.monotonic()
    happens()
    answer, came = waiting.result(timeout=ENOUGH)
    return answer, came - began


def test_a_change_is_answered_while_the_request_waits(
    world: World, pim: Api, threads: ThreadPoolExecutor
) -> None:
    world.make_partner(world.pim)
    animal = world.animal("W-1")
    answer, took = while_waiting(threads, pim, lambda: world.call(world.odile, animal, "male"))
    assert told(answer.body["items"]) == ["call_made", "standing_changed"]
    assert took < LONG / 2


def test_an_edit_of_a_record_too(world: World, odile: Api, threads: ThreadPoolExecutor) -> None:
    animal = world.animal("W-1")

    def happens() -> None:
        edit(animal, {"rack": "B2"}, version=1, by=world.odile, now=timezone.now())

    answer, took = while_waiting(threads, odile, happens)
    assert told(answer.body["items"]) == ["animal"]
    assert took < LONG / 2


def test_a_visit_that_opens_by_the_clock(
    world: World, greta: Api, threads: ThreadPoolExecutor
) -> None:
    animal, visit = world.animal("W-1"), new_id()
    opens = timezone.now() + timedelta(seconds=2.5)
    body = {
        "collection": str(world.collection.pk),
        "guest": str(world.greta.pk),
        "animals": [str(animal.pk)],
        "opens": rfc3339(opens),
        "closes": rfc3339(opens + timedelta(hours=1)),
    }
    world.say(world.odile, "visit_invited", visit, body)
    world.say(world.greta, "visit_accepted", visit)
    _, cursor = pull(greta)
    answer, _ = asked(greta, cursor, LONG)
    assert told(answer.body["items"]) == ["snapshot blind"]
    assert timedelta(0) <= timezone.now() - opens < timedelta(seconds=LONG / 2)


@pytest.mark.one_in(1)
def test_what_is_not_theirs_to_see_wakes_nobody(
    world: World, stan: Api, threads: ThreadPoolExecutor, monkeypatch: pytest.MonkeyPatch
) -> None:
    animal, looks = world.animal("W-1"), list[float]()
    monkeypatch.setattr(feed, "look_again", looks.append)
    happens = lambda: world.call(world.odile, animal, "male")  # noqa: E731
    answer, took = while_waiting(threads, stan, happens, wait=2)
    assert len(looks) == 1, "looked only once the wait was over"
    assert (answer.body["items"], answer.body["more"]) == ([], False)
    assert took >= 1
    assert pull(stan, answer.body["cursor"])[0] == []


def test_nothing_happens(world: World, stan: Api, threads: ThreadPoolExecutor) -> None:
    _, cursor = pull(stan)
    began = time.monotonic()
    answer, came = asked(stan, cursor, 1)
    assert answer.body["items"] == []
    assert 1 <= came - began < LONG


def test_whoever_waits_holds_no_connection(
    world: World, odile: Api, threads: ThreadPoolExecutor
) -> None:
    """More wait at once than there are connections in the pool, and others are served."""
    animal = world.animal("W-1")
    _, cursor = pull(odile)
    waiting = [threads.submit(asked, odile, cursor, LONG) for _ in range(8)]
    eventually(lambda: WATCHER.waiting == 8, "all to wait")
    with connection.cursor() as cursor_:
        cursor_.execute("SELECT count(*) FROM pg_stat_activity WHERE state LIKE 'idle in%'")
        assert cursor_.fetchone()[0] == 0
    assert odile.get("/keepers/me").status == 200
    assert not any(one.done() for one in waiting)
    world.call(world.odile, animal, "male")
    assert {one.result(timeout=ENOUGH)[0].status for one in waiting} == {200}


def test_no_more_than_so_many_wait(world: World, odile: Api, threads: ThreadPoolExecutor) -> None:
    """Over the cap one is answered at once."""
    _, cursor = pull(odile)
    taken = 0
    while WATCHER.enter():
        taken += 1
    try:
        began = time.monotonic()
        answer, came = asked(odile, cursor, LONG)
        assert (answer.status, answer.body["items"]) == (200, [])
        assert came - began < LONG / 2
    finally:
        for _ in range(taken):
            WATCHER.leave()


def test_a_device_revoked_while_it_waits(
    world: World, odile: Api, threads: ThreadPoolExecutor
) -> None:
    animal = world.animal("W-1")

    def happens() -> None:
        revoke_device(world.odile, odile.device.pk, timezone.now())
        world.call(world.odile, animal, "male")

    answer, _ = while_waiting(threads, odile, happens)
    assert (answer.status, answer.code) == (401, "authentication_failed")


def waiting_for_a_lock() -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT EXISTS (SELECT FROM pg_locks WHERE NOT granted)")
        return bool(cursor.fetchone()[0])


def test_an_edit_waits_for_the_log_so_that_none_is_passed_over(
    world: World, odile: Api, threads: ThreadPoolExecutor
) -> None:
    """An edit numbered lower that is committed later than another would be lost to a reader
    in between (protocol of cursors over sequences); so edits are numbered one at a time."""
    first, second = world.animal("W-1"), world.animal("W-2")
    _, cursor = pull(odile)
    numbered, go_on = threading.Event(), threading.Event()

    def slow() -> None:
        try:
            with transaction.atomic():
                edit(first, {"rack": "1"}, version=1, by=world.odile, now=timezone.now())
                numbered.set()
                go_on.wait(ENOUGH)
        finally:
            connection.close()

    def quick() -> None:
        try:
            edit(second, {"rack": "2"}, version=1, by=world.odile, now=timezone.now())
        finally:
            connection.close()

    one = threads.submit(slow)
    assert numbered.wait(ENOUGH)
    two = threads.submit(quick)
    eventually(waiting_for_a_lock, "the second edit to wait for the first")
    items, cursor = pull(odile, cursor)
    assert items == []
    go_on.set()
    one.result(ENOUGH)
    two.result(ENOUGH)
    items, _ = pull(odile, cursor)
    assert [item["animal"]["rack"] for item in items] == ["1", "2"]


def test_nobody_waits_in_a_process_of_one_thread(world: World, pim: Api) -> None:
    """As gunicorn starts one that is not told otherwise: everyone else would wait too."""
    _, cursor = pull(pim)
    alone = Client(**{"wsgi.multithread": False})
    began = time.monotonic()
    query = {"cursor": cursor, "wait": str(LONG)}
    answer = alone.get("/api/v1/changes", query, headers=pim.headers)
    assert (answer.status_code, answer.json()["items"]) == (200, [])
    assert time.monotonic() - began < LONG / 2
