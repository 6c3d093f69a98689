"""The worker is woken beside what is being done."""

import threading

from tests.waiting import ENOUGH

from scalewitness.mail.services.waking import DELIVER, Waker
from scalewitness.mail.tasks import deliver_waiting


class Door:
    """To be knocked at; opens when told."""

    def __init__(self, *faults: Exception) -> None:
        self.knocks = threading.Semaphore(0)
        self.open = threading.Semaphore(0)
        self.faults = list(faults)

    def knock(self) -> None:
        self.knocks.release()
        assert self.open.acquire(timeout=ENOUGH)
        if self.faults:
            raise self.faults.pop()


def wakers() -> list[threading.Thread]:
    return [one for one in threading.enumerate() if one.name == "waker"]


def over() -> None:
    for thread in wakers():
        thread.join(ENOUGH)
    assert wakers() == []


def test_nobody_waits_and_what_is_asked_meanwhile_is_done_once_more() -> None:
    door = Door()
    waker = Waker(door.knock)
    waker.wake()  # returns, though nobody opens
    assert door.knocks.acquire(timeout=ENOUGH)
    for _ in range(5):
        waker.wake()
    assert len(wakers()) == 1
    door.open.release(2)
    assert door.knocks.acquire(timeout=ENOUGH)
    over()
    assert not door.knocks.acquire(blocking=False)


def test_after_a_failure_it_is_tried_again_when_asked_for() -> None:
    door = Door(ConnectionRefusedError())
    door.open.release(2)
    waker = Waker(door.knock)
    for _ in range(2):
        waker.wake()
        assert door.knocks.acquire(timeout=ENOUGH)
        over()
    assert door.faults == []


def test_it_is_the_workers_own_task_that_is_asked_for() -> None:
    assert deliver_waiting.name == DELIVER
