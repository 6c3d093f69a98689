"""Batches of one process come one after the other, each person's in their turn, and wait for
none that waits for them."""

from concurrent.futures import ThreadPoolExecutor
from concurrent.futures import TimeoutError as TooLong
from threading import Event, Thread
from uuid import UUID

import pytest

from scalewitness.domain.errors import Busy
from scalewitness.intake.turns import Turns, own_turn


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


def line_of(turns: Turns, *people: UUID) -> tuple[list[UUID], list[Thread]]:
    """Threads that wait for a turn, one a person in this order; who was let in, as it comes."""
    let_in: list[UUID] = []

    def wait(person: UUID) -> None:
        turns.take(person)
        let_in.append(person)
        turns.leave()

    threads = []
    for person in people:
        before = waiting(turns)
        threads.append(Thread(target=wait, args=(person,)))
        threads[-1].start()
        while waiting(turns) == before:
            pass
    return let_in, threads


def waiting(turns: Turns) -> int:
    return sum(map(len, turns._waiting.values()))


CROWD, SINGLE, THIRD = UUID(int=1), UUID(int=2), UUID(int=3)


def test_whoever_has_many_requests_waiting_stands_behind_the_others_after_each() -> None:
    turns = Turns()
    turns.take(CROWD)
    let_in, threads = line_of(turns, CROWD, CROWD, CROWD, SINGLE, THIRD, SINGLE)
    turns.leave()
    for thread in threads:
        thread.join(10)
    assert let_in == [CROWD, SINGLE, THIRD, CROWD, SINGLE, CROWD]


def test_whoever_waits_too_long_is_told_so_and_holds_nobody_up() -> None:
    turns = Turns()
    turns.take(CROWD)
    with pytest.raises(Busy):
        turns.take(SINGLE, patience=0.05)
    turns.leave()
    turns.take(THIRD, patience=0.05)  # nobody was let in who is not there any more
    turns.leave()


def test_one_who_gives_up_leaves_the_others_of_the_same_person_in_line() -> None:
    turns = Turns()
    turns.take(CROWD)
    let_in, threads = line_of(turns, SINGLE)
    with pytest.raises(Busy):
        turns.take(SINGLE, patience=0.05)
    turns.leave()
    threads[0].join(10)
    assert let_in == [SINGLE]
