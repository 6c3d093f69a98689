"""One question to the primary serves many reads, and none that was asked for after it was sent."""

import os
import signal
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import copy_context
from threading import Event
from time import monotonic, sleep
from typing import Any

import pytest
from django.db import OperationalError, connections
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st
from tests.api.client import BASE, Api
from tests.replica.conftest import Following, read_from
from tests.waiting import ENOUGH, eventually
from tests.world import World

from scalewitness.postgresql import impatient
from scalewitness.replica.primary import LINE, Moment, Shared
from scalewitness.waiting import answering


class Log:
    """A primary whose log grows, and which answers when it is let."""

    def __init__(self) -> None:
        self.reached, self.asked = 0, 0
        self.fails = self.is_away = False
        self._looked, self._goes_on = Event(), Event()

    def ask(self, sending: Callable[[], None]) -> Moment:
        if not self.is_away:
            sending()
        found, self.asked = self.reached, self.asked + 1
        self._looked.set()
        assert self._goes_on.wait(ENOUGH)
        self._goes_on.clear()
        if self.fails:
            raise OperationalError
        return Moment(str(found), "00000001")

    def has_looked(self) -> None:
        """Wait until it is asked and has looked how far it is."""
        assert self._looked.wait(ENOUGH)
        self._looked.clear()

    def answer(self) -> None:
        self._goes_on.set()


class Readers:
    """Who want to know how far the primary is, each in a thread."""

    def __init__(self, log: Log, threads: ThreadPoolExecutor) -> None:
        self._shared, self._threads = Shared(log.ask), threads

    @property
    def waiting(self) -> int:
        """For the question that one of them asks."""
        over: Any = self._shared._under_way and self._shared._under_way.over
        return len(over._cond._waiters) if over else 0

    def come(self, count: int, since: float) -> list[Future[Moment]]:
        """They have begun by now: what they wait for is said in their futures."""
        begun = [Event() for _ in range(count)]
        found = [self._threads.submit(self._read, since, one) for one in begun]
        assert all(one.wait(ENOUGH) for one in begun)
        return found

    def _read(self, since: float, begun: Event) -> Moment:
        begun.set()
        return self._shared.since(since)


@contextmanager
def readers_of(log: Log) -> Iterator[Readers]:
    with ThreadPoolExecutor(8) as threads:
        try:
            yield Readers(log, threads)
        finally:
            log.answer()


def reached(found: list[Future[Moment]]) -> set[str]:
    return {one.result(ENOUGH).reached for one in found}


def test_who_comes_while_it_is_under_way_shares_the_next() -> None:
    log = Log()
    with readers_of(log) as readers:
        early = readers.come(1, monotonic())
        log.has_looked()
        log.reached = 1  # as by a revocation
        late = readers.come(3, monotonic())
        log.answer()
        assert reached(early) == {"0"}
        log.has_looked()
        log.answer()
        assert reached(late) == {"1"}
    assert log.asked == 2


def test_who_came_before_it_was_sent_shares_it() -> None:
    log, before = Log(), monotonic()
    with readers_of(log) as readers:
        first = readers.come(1, before)
        log.has_looked()
        more = readers.come(3, before)
        log.answer()
        assert reached(first + more) == {"0"}
        assert reached(readers.come(1, before)) == {"0"}  # whose turn comes only now
    assert log.asked == 1


def test_a_question_that_fails_fails_for_all_who_wait_for_it() -> None:
    log, before = Log(), monotonic()
    with readers_of(log) as readers:
        log.fails = True
        first = readers.come(1, before)
        log.has_looked()
        others, late = readers.come(2, before), readers.come(2, monotonic())
        eventually(lambda: readers.waiting == 4, "the others to wait")
        log.answer()
        for one in first + others:
            with pytest.raises(OperationalError):
                one.result(ENOUGH)
        log.has_looked()
        log.fails = False
        log.answer()
        assert reached(late) == {"0"}
    assert log.asked == 2


def test_a_primary_that_is_away_is_tried_once_for_all_who_wait() -> None:
    log, before = Log(), monotonic()
    log.fails = log.is_away = True
    with readers_of(log) as readers:
        first = readers.come(1, before)
        log.has_looked()
        others = readers.come(3, monotonic())
        eventually(lambda: readers.waiting == len(others), "the others to wait")
        log.answer()
        for one in first + others:
            with pytest.raises(OperationalError):
                one.result(ENOUGH)
    assert log.asked == 1


@given(st.lists(st.integers(0, 2), min_size=4, max_size=4))
def test_nobody_is_told_less_than_was_committed_when_they_came(pauses: list[int]) -> None:
    committed = [0]

    def ask(sending: Callable[[], None]) -> Moment:
        sleep(0.0001)
        sending()
        found = committed[0]
        sleep(0.0002)
        return Moment(str(found), "00000001")

    shared, over = Shared(ask), Event()

    def read(pause: int) -> int:
        least = 0
        for _ in range(12):
            came, there = monotonic(), committed[0]
            sleep(pause * 0.0001)
            least = min(least, int(shared.since(came).reached) - there)
        return least

    def commit() -> None:
        while not over.is_set():
            committed[0] += 1
            sleep(0)

    with ThreadPoolExecutor(len(pauses) + 1) as threads:
        threads.submit(commit)
        try:
            assert min(threads.map(read, pauses)) >= 0
        finally:
            over.set()


class Reader:
    """Somebody who was seen to ask at a moment."""

    def __init__(self, seen_at: float) -> None:
        self.seen_at = seen_at

    def waited(self) -> float:
        return 0.0

    def is_gone(self) -> bool:
        return False


def test_who_waited_for_a_place_shares_what_was_asked_meanwhile(
    odile: Api, path: str, replica: Following, monkeypatch: pytest.MonkeyPatch
) -> None:
    came = monotonic()
    with read_from("replica"):
        assert odile.get(path).status == 200
    LINE.close()
    monkeypatch.setitem(connections["default"].settings_dict, "PORT", 1)
    with read_from("replica"), answering(Reader(came)):
        assert odile.get(path).status == 200
    with answering(Reader(monotonic())):
        assert status(odile, path) == 503


def test_a_session_that_was_hung_up_on_is_replaced(
    odile: Api, path: str, replica: Following
) -> None:
    with read_from("replica"):
        assert odile.get(path).status == 200
    first = session_asked()
    with connections["default"].cursor() as cursor:
        cursor.execute("SELECT pg_terminate_backend(%s, 5000)", [first])
    with read_from("replica"):
        assert odile.get(path).status == 200
    assert session_asked() != first


def test_a_primary_that_hangs_keeps_nobody_waiting(
    lasting_world: World, path: str, replica: Following, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And is asked again as soon as it answers."""
    monkeypatch.setattr(impatient, "STATEMENT_TIMEOUT", 0.3)
    LINE.ask(lambda: None)
    stopped = session_asked()

    def read(api: Api) -> int:
        try:
            return status(api, path)
        finally:
            connections.close_all()

    devices = [Api(lasting_world.odile) for _ in range(3)]
    os.kill(stopped, signal.SIGSTOP)
    try:
        with ThreadPoolExecutor(len(devices)) as threads, answering(Reader(monotonic())):
            waiting = [threads.submit(copy_context().run, read, one) for one in devices]
            found = {one.result(ENOUGH) for one in waiting}
    finally:
        os.kill(stopped, signal.SIGCONT)
    assert 503 in found <= {200, 503}  # 200: came only when it had been given up
    with read_from("replica"):
        assert read(devices[0]) == 200


def status(api: Api, path: str) -> int:
    asked = Client(raise_request_exception=False)
    return asked.get(f"{BASE}{path}", headers=api.headers).status_code


def session_asked() -> int:
    """The number of the primary's process."""
    assert LINE._session is not None
    return LINE._session.info.backend_pid
