"""Batches of one process come one after the other, each person's in their turn."""

from threading import Thread
from uuid import UUID

import pytest

from scalewitness.domain.errors import Busy
from scalewitness.intake.turns import Turns


def line_of(turns: Turns[str], *people: UUID) -> tuple[list[UUID], list[Thread]]:
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


def waiting(turns: Turns[str]) -> int:
    return sum(map(len, turns._line.values()))


CROWD, SINGLE, THIRD = UUID(int=1), UUID(int=2), UUID(int=3)


def test_whoever_has_many_requests_waiting_stands_behind_the_others_after_each() -> None:
    turns: Turns[str] = Turns()
    turns.take(CROWD)
    let_in, threads = line_of(turns, CROWD, CROWD, CROWD, SINGLE, THIRD, SINGLE)
    turns.leave()
    for thread in threads:
        thread.join(10)
    assert let_in == [CROWD, SINGLE, THIRD, CROWD, SINGLE, CROWD]


def test_whoever_waits_too_long_is_told_so_and_holds_nobody_up() -> None:
    turns: Turns[str] = Turns()
    turns.take(CROWD)
    with pytest.raises(Busy):
        turns.take(SINGLE, timeout=0.05)
    turns.leave()
    turns.take(THIRD, timeout=0.05)  # nobody was let in who is not there any more
    turns.leave()


def test_one_who_gives_up_leaves_the_others_of_the_same_person_in_line() -> None:
    turns: Turns[str] = Turns()
    turns.take(CROWD)
    let_in, threads = line_of(turns, SINGLE)
    with pytest.raises(Busy):
        turns.take(SINGLE, timeout=0.05)
    turns.leave()
    threads[0].join(10)
    assert let_in == [SINGLE]


def test_whoever_has_the_turn_takes_along_what_others_wait_with() -> None:
    turns: Turns[str] = Turns()
    turns.take(CROWD)
    mine: list[bool] = []
    threads = [
        Thread(target=lambda: mine.append(turns.take(SINGLE, "one"))),
        Thread(target=lambda: mine.append(turns.take(THIRD, "other"))),
    ]
    for number, thread in enumerate(threads, 1):
        thread.start()
        while waiting(turns) < number:
            pass
    along = turns.along(9)
    assert [one.load for one in along] == ["one", "other"]
    assert all(thread.is_alive() for thread in threads)  # not before it is done
    turns.leave(along)
    for thread in threads:
        thread.join(10)
    assert mine == [False, False]
    assert turns.take(CROWD, timeout=0)  # nobody has it


def test_no_more_are_taken_along_than_asked_for_and_none_without_a_load() -> None:
    turns: Turns[str] = Turns()
    turns.take(CROWD)
    let_in, threads = line_of(turns, SINGLE)
    assert turns.along(1) == []
    turns.leave()
    threads[0].join(10)
    assert let_in == [SINGLE]


def test_one_that_fails_while_it_waits_leaves_the_turn_to_others() -> None:
    turns: Turns[str] = Turns()
    turns.take(CROWD)

    def fails() -> None:
        raise RuntimeError("the pool is closed")

    with pytest.raises(RuntimeError):
        turns.take(SINGLE, before_waiting=fails)
    turns.leave()
    assert turns.take(THIRD, timeout=0)
