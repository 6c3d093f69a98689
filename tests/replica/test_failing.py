"""A replica that is away, hangs or breaks off costs nobody an answer, and the primary not more than
it can bear."""

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Thread
from time import monotonic
from typing import Any

import pytest
from django.db import InternalError, connections
from django.http import HttpResponse
from django.test import Client, RequestFactory
from tests.api.client import Api
from tests.operator import metrics
from tests.replica.conftest import Following, read_from
from tests.waiting import eventually
from tests.world import World

from scalewitness import replica as replicas
from scalewitness.domain.errors import Busy
from scalewitness.people.models import Keeper
from scalewitness.postgresql import impatient
from scalewitness.replica import ALIAS, reading
from scalewitness.replica.primary import LINE
from scalewitness.serving import replicas as serving

pytestmark = pytest.mark.one_in(3)


@contextmanager
def at_statement(number: int, happens: Any) -> Iterator[None]:
    """Something happens to the replica's session before its ``number``-th statement of a view."""
    count = iter(range(1, 1000))

    def watch(execute: Any, sql: Any, params: Any, many: Any, context: Any) -> Any:
        if next(count) == number:
            happens(connections[ALIAS].connection.info.backend_pid)
        return execute(sql, params, many, context)

    with connections[ALIAS].execute_wrapper(watch):
        yield


def test_one_that_is_away_is_done_without(odile: Api, path: str, replica: Following) -> None:
    connections[ALIAS].settings_dict["PORT"] = 1
    connections[ALIAS].settings_dict["OPTIONS"]["pool"]["timeout"] = 0.1
    with read_from("away"):
        assert odile.get(path).status == 200


def test_one_that_breaks_off_is_read_anew_at_the_primary(
    odile: Api, path: str, replica: Following
) -> None:
    def end(pid: int) -> None:
        replica.told(f"SELECT pg_terminate_backend({pid}, 5000)")

    with read_from("replica", "failed"), at_statement(3, end):
        assert odile.get(path).status == 200


def test_one_that_hangs_is_not_waited_for(
    odile: Api, path: str, replica: Following, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(impatient, "STATEMENT_TIMEOUT", 0.3)
    stopped: list[int] = []

    def stop(pid: int) -> None:
        os.kill(pid, signal.SIGSTOP)
        stopped.append(pid)

    try:
        with read_from("replica", "failed"), at_statement(3, stop):
            assert odile.get(path).status == 200
    finally:
        os.kill(stopped[0], signal.SIGCONT)


def test_another_timeline_is_never_read(replica: Following) -> None:
    with reading() as reader:
        here = LINE.ask(lambda: None)
        assert reader._applied(here)
        assert not reader._applied(here._replace(timeline="000000FF"))


def test_who_writes_after_all_is_refused(lasting_world: World, replica: Following) -> None:
    with reading() as reader:
        reader.turn(monotonic())
        with pytest.raises(InternalError, match="read-only"):
            Keeper.objects.update(name="Someone else")
        replicas.at_primary()
        assert Keeper.objects.filter(pk=lasting_world.odile.pk).update(name="Odile") == 1


def test_a_crowd_that_falls_back_on_the_primary_is_turned_away(
    replica: Following, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serving, "TIMEOUT", 0.0)
    inside, goes_on = Event(), Event()

    def slow(_: Any) -> HttpResponse:
        inside.set()
        goes_on.wait(60)
        return HttpResponse("read")

    middleware = serving.ReadFromReplica(slow)
    request = RequestFactory().get("/animals")
    replicas.REST.begin()
    answers: list[Any] = []
    readers = [
        Thread(target=lambda: answers.append(middleware(request)))
        for _ in range(serving.AT_PRIMARY)
    ]
    for one in readers:
        inside.clear()
        one.start()
        assert inside.wait(60)
    refused = middleware(request)
    goes_on.set()
    for one in readers:
        one.join()
    assert (refused.status_code, refused.headers["Retry-After"]) == (503, str(Busy.retry_after))
    assert [one.status_code for one in answers] == [200, 200]


def test_health_and_metrics_say_how_far_it_is_behind(
    lasting_world: World, replica: Following
) -> None:
    def ready() -> Any:
        return Client().get("/health/ready").json()["replica"]

    def is_level() -> bool:
        return "\nscalewitness_replica_lag_bytes 0.0\n" in metrics().content.decode()

    eventually(is_level, "the replica to be said to be level")
    eventually(lambda: ready() == "ok", "the replica to be said to be well")
    with replica.held_back():
        lasting_world.animal("A-2")
        eventually(lambda: ready() == "behind", "the replica to be said to be behind")
        assert not is_level()
    connections[ALIAS].close_pool()
    connections[ALIAS].settings_dict["PORT"] = 1
    connections[ALIAS].settings_dict["OPTIONS"]["pool"]["timeout"] = 0.1
    assert ready() == "unreachable"
    assert "\nscalewitness_replica_up 0.0\n" in metrics().content.decode()
