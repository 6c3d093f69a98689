"""Each kind of request in its room, over real connections; what is served is a stand-in."""

import json
import socket
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from threading import Event
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import RequestFactory
from tests.waiting import ENOUGH, eventually

from scalewitness.serving import admission
from scalewitness.serving.admission import Admission
from scalewitness.serving.line import ClientLine
from scalewitness.serving.rooms import ASKING_FEED, READERS, SPARE, WAITING_READERS
from scalewitness.waiting import nobody_waits, time_left

THREADS = 48
PUSH, READ, FEED = ("POST", "/api/v1/push"), ("GET", "/animals"), ("GET", "/api/v1/changes?wait=9")


class Served:
    """In the place of all of Django: counts who came, and keeps them until ``open``."""

    def __init__(self) -> None:
        self.open = Event()
        self.came: list[str] = []
        self.let_go = 0

    def __call__(self, environ: dict[str, Any], start: Callable[..., Any]) -> HttpResponse:
        path = environ["PATH_INFO"]
        self.came.append(path)
        if not path.startswith("/health/"):
            assert self.open.wait(ENOUGH)
        start("200 OK", [])
        answer = HttpResponse(b"served")
        answer.close = self._close  # type: ignore[method-assign]
        return answer

    def _close(self) -> None:
        self.let_go += 1


class Web:
    def __init__(self, threads: ThreadPoolExecutor) -> None:
        self.served = Served()
        self._admission = Admission(self.served, THREADS)  # type: ignore[arg-type]
        self._threads = threads

    def ask(self, what: tuple[str, str], line: Any = None, **headers: str) -> "Future[Answer]":
        method, path = what
        environ = RequestFactory().generic(method, path, headers=headers).environ
        if line is not None:
            environ["gunicorn.socket"] = line
        return self._threads.submit(self._answer, environ)

    def fill(self, what: tuple[str, str], most: int) -> "list[Future[Answer]]":
        """As many as are let in, each of another device."""
        before = len(self.served.came)
        asked = [self.ask(what, Authorization=f"Bearer {number}") for number in range(most)]
        eventually(lambda: len(self.served.came) - before == most, "those asked for to come in")
        return asked

    def _answer(self, environ: dict[str, Any]) -> "Answer":
        told: list[Any] = []
        body = b"".join(self._admission(environ, lambda *said: told.extend(said)))
        return Answer(int(told[0].split()[0]), dict(told[1]), body)


class Answer:
    def __init__(self, status: int, headers: dict[str, str], body: bytes) -> None:
        self.status, self.headers, self.body = status, headers, body


@pytest.fixture
def web(settings: Any) -> Iterator[Web]:
    settings.FEED_WAITERS = FEED_PLACES - ASKING_FEED
    with ThreadPoolExecutor(THREADS) as threads:
        running = Web(threads)
        yield running
        running.served.open.set()


FEED_PLACES = 10
WRITERS = THREADS - SPARE - READERS - WAITING_READERS - FEED_PLACES


@contextmanager
def connected(sent: bytes = b"GET / HTTP/1.1\r\n\r\n") -> Iterator[tuple[socket.socket, Any]]:
    """Both ends of a line, something sent by the client."""
    with (
        socket.create_server(("127.0.0.1", 0)) as server,
        socket.create_connection(server.getsockname()) as client,
    ):
        client.sendall(sent)
        ours, _ = server.accept()
        with ours:
            yield client, ours


@pytest.mark.parametrize(
    ("crowd", "most"),
    [(PUSH, WRITERS), (READ, READERS), (FEED, FEED_PLACES)],
    ids=["push", "read", "feed"],
)
def test_a_crowd_keeps_only_its_own_kind_out(
    web: Web, crowd: tuple[str, str], most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(admission, "TIMEOUT", 0.1)
    inside = web.fill(crowd, most)
    assert web.ask(crowd, Authorization="Bearer one more").result(ENOUGH).status == 503
    assert web.ask(("GET", "/health/ready")).result(ENOUGH).status == 200
    others = [web.ask(other) for other in (PUSH, READ, FEED) if other != crowd]
    eventually(lambda: len(web.served.came) == most + 3, "those asked for to come in")
    web.served.open.set()
    assert {one.result(ENOUGH).status for one in (*inside, *others)} == {200}
    assert web.ask(crowd).result(ENOUGH).status == 200
    assert web.served.let_go == most + 3


def test_api_callers_are_told_in_a_problem_and_people_on_a_page(
    web: Web, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(admission, "TIMEOUT", 0.1)
    web.fill(PUSH, WRITERS)
    told = web.ask(PUSH).result(ENOUGH)
    assert told.headers["Content-Type"] == "application/problem+json"
    assert json.loads(told.body)["code"] == "busy"
    shown = web.ask(("POST", "/offers/secret")).result(ENOUGH)
    assert b"Nothing was recorded" in shown.body
    for answer in (told, shown):
        assert int(answer.headers["Retry-After"]) > 0
        assert "no-store" in answer.headers["Cache-Control"]
        assert answer.headers["Referrer-Policy"] == "no-referrer"
        assert int(answer.headers["Content-Length"]) == len(answer.body)


def test_a_device_sends_one_thing_at_a_time_and_one_repeat_waits(web: Web) -> None:
    ours = {"Authorization": "Bearer ours"}
    first = web.ask(PUSH, **ours)
    eventually(lambda: len(web.served.came) == 1, "those asked for to come in")
    repeat = web.ask(PUSH, **ours)
    eventually(lambda: web._admission._devices._users["Bearer ours"] == 2, "both to be counted")
    assert web.ask(PUSH, **ours).result(ENOUGH).status == 503
    web.ask(PUSH, Authorization="Bearer theirs")
    web.ask(READ, **ours)  # it may read meanwhile
    eventually(lambda: len(web.served.came) == 3, "those asked for to come in")
    web.served.open.set()
    assert [first.result(ENOUGH).status, repeat.result(ENOUGH).status] == [200, 200]


def test_a_browser_is_a_device_too(web: Web) -> None:
    web.ask(PUSH, Cookie="a=b; sessionid=ours; c=d")
    eventually(lambda: len(web.served.came) == 1, "those asked for to come in")
    web.ask(PUSH, Cookie="sessionid=ours")
    eventually(lambda: web._admission._devices._users["ours"] == 2, "both to be counted")
    web.ask(PUSH, Cookie="sessionid=theirs")
    eventually(lambda: len(web.served.came) == 2, "those asked for to come in")


def test_what_nobody_waits_for_is_not_begun(web: Web) -> None:
    for cut in (False, True):
        with connected() as (client, ours):
            if cut:
                client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
            client.close()
            eventually(ClientLine({"gunicorn.socket": ours}).is_gone, "the line to be seen as gone")
            assert web.ask(PUSH, ours).result(ENOUGH).status == 503
    assert web.served.came == []


def test_what_lay_too_long_in_the_kernels_queue_is_not_begun(
    web: Web, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(admission, "STALE", 0.2)
    web.served.open.set()
    with connected() as (client, ours):
        line = ClientLine({"gunicorn.socket": ours})
        eventually(lambda: line.waited() > 0.2, "it to have waited")
        assert web.ask(READ, ours).result(ENOUGH).status == 503
        client.sendall(b"the rest of it")  # a slow line is no waiting
        assert line.waited() < 0.2
        assert web.ask(READ, ours).result(ENOUGH).status == 200


def test_a_timeout_is_counted_from_when_it_came_in_and_ends_with_whoever_asked() -> None:
    assert (time_left(2.0), nobody_waits()) == (2.0, False)
    with connected() as (client, ours):
        line = ClientLine({"gunicorn.socket": ours})
        with admission.answering(line):
            eventually(lambda: 0 < time_left(2.0) < 1.9, "some of it to pass")
            assert time_left(0.01) == 0
            assert not nobody_waits()
            client.close()
            eventually(nobody_waits, "the line to be cut")
    assert not nobody_waits()


@pytest.mark.parametrize("given", [{}, {"gunicorn.socket": None}])
def test_without_a_line_that_tells_a_request_is_as_old_as_the_look_at_it(
    given: dict[str, Any],
) -> None:
    line = ClientLine(given)
    assert line.waited() < 1
    assert not line.is_gone()


def test_nor_does_a_unix_socket_tell() -> None:
    ours, theirs = socket.socketpair(socket.AF_UNIX)
    with ours, theirs:
        theirs.close()
        line = ClientLine({"gunicorn.socket": ours})
        assert (line.waited() < 1, line.is_gone()) == (True, False)


def test_a_place_is_left_also_by_what_fails(web: Web) -> None:
    web.served.let_go = None  # type: ignore[assignment]  closing it fails
    web.served.open.set()
    for _ in range(WRITERS + 1):
        with pytest.raises(TypeError):
            web.ask(PUSH).result(ENOUGH)
    assert len(web.served.came) == WRITERS + 1
