"""Pictures are decoded one at a time, and who waits too long, or is one too many, is told."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from threading import Event, Lock
from uuid import uuid4

import pytest

from scalewitness.domain.errors import Busy
from scalewitness.intake import heavy_work
from scalewitness.intake.heavy_work import DECODING, MOST_OF_ONE, MOST_WAITING


@contextmanager
def somebody_draws(times: int = 1) -> Iterator[None]:
    """So many people have come; the first draws, until this ends."""
    has, leave = Event(), Event()

    def draw() -> None:
        with DECODING.turn(uuid4()):
            has.set()
            assert leave.wait(20)

    with ThreadPoolExecutor(times) as threads:
        held = [threads.submit(draw) for _ in range(times)]
        assert has.wait(10)
        while DECODING.inside < times:
            leave.wait(0.01)
        try:
            yield
        finally:
            leave.set()
        for one in held:
            one.result(20)


def test_many_at_once_are_drawn_one_by_one() -> None:
    guard, inside, most = Lock(), 0, 0

    def draw() -> None:
        nonlocal inside, most
        with DECODING.turn(uuid4()):
            with guard:
                inside += 1
                most = max(most, inside)
            Event().wait(0.02)
            with guard:
                inside -= 1

    with ThreadPoolExecutor(MOST_WAITING) as threads:
        for one in [threads.submit(draw) for _ in range(MOST_WAITING)]:
            one.result(20)
    assert most == 1


def test_who_waits_too_long_is_told_and_leaves_the_room(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(heavy_work, "TIMEOUT", 0.1)
    with somebody_draws():
        with pytest.raises(Busy), DECODING.turn(uuid4()):
            raise AssertionError
        assert DECODING.inside == 1
    with DECODING.turn(uuid4()):
        pass


def test_one_too_many_does_not_wait_at_all() -> None:
    with somebody_draws(MOST_WAITING), pytest.raises(Busy), DECODING.turn(uuid4()):
        raise AssertionError


def test_one_person_does_not_fill_the_room() -> None:
    person = uuid4()
    with ExitStack() as room:
        for _ in range(MOST_OF_ONE):
            DECODING._enter(person)
            room.callback(DECODING._leave, person)
        with pytest.raises(Busy), DECODING.turn(person):
            raise AssertionError
        with DECODING.turn(uuid4()):
            pass


def test_the_room_is_empty_when_all_are_gone_whatever_went_wrong() -> None:
    with pytest.raises(ValueError, match="damaged"), DECODING.turn(uuid4()):
        raise ValueError("damaged")
    assert not DECODING.inside
    with DECODING.turn(None):
        pass
