"""Batches of one process come one after the other, and wait for none that waits for them."""

from concurrent.futures import ThreadPoolExecutor
from concurrent.futures import TimeoutError as TooLong
from threading import Event

import pytest

from scalewitness.intake.turns import own_turn


def hold(has: Event, leave: Event) -> None:
    with own_turn():
        has.set()
        assert leave.wait(10)


def test_a_second_thread_waits_until_the_first_is_done() -> None:
    one, other, leave = Event(), Event(), Event()
    with ThreadPoolExecutor(2) as threads:
        first = threads.submit(hold, one, leave)
        assert one.wait(10)
        second = threads.submit(hold, other, leave)
        with pytest.raises(TooLong):
            second.result(0.2)
        assert not other.is_set()
        leave.set()
        first.result(10)
        second.result(10)


@pytest.mark.django_db
def test_within_a_transaction_nobody_waits() -> None:
    has, leave = Event(), Event()
    with ThreadPoolExecutor(1) as threads:
        first = threads.submit(hold, has, leave)
        assert has.wait(10)
        with own_turn():  # the test's own transaction is open
            leave.set()
        first.result(10)
