"""What a first fetch brings is held to the log while more of it comes; nothing is shown as proved
that does not hold as it is here at the end."""

import json
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from tests.cli.meddler import Answer, Meddler, meddling, saying
from tests.cli.rooms import Machine, Room, envelope, fresh_id, push
from tests.waiting import eventually

from scalewitness_cli.feed import PAGE

pytestmark = pytest.mark.one_in(2)

ANIMALS = PAGE + 5
FEED, PROOFS = "/api/v1/changes", "/api/v1/proofs"


@pytest.fixture(scope="module")
def meddler(room: Room) -> Iterator[Meddler]:
    with meddling(room.stack.url) as made:
        yield made


@pytest.fixture(scope="module")
def keeper(room: Room) -> Machine:
    """Whose animals come in two pages."""
    made = room.at_work("keeper")
    body = {"collection": made.collection, "species": "python_regius"}
    push(made.api, *(envelope("animal_registered", fresh_id(), body) for _ in range(ANIMALS)))
    return made


def first_sync(
    room: Room, keeper: Machine, meddler: Meddler, status: int = 0
) -> tuple[Machine, Any]:
    """And what it said."""
    made = room.second_machine(keeper)
    made.url, made.fast = meddler.url, 20.0
    made.sign_in(room.log_key)
    meddler.asked.clear()
    return made, made.sync(status=status)


def test_the_first_are_proved_while_more_is_fetched(
    room: Room, keeper: Machine, meddler: Meddler
) -> None:
    held = list[bool]()

    def second_page(_: Meddler, ask: Callable[[], Answer]) -> Answer:
        held.append(eventually(lambda: PROOFS in meddler.asked, "the first proofs to be asked for"))
        return ask()

    meddler.play(FEED, lambda _, ask: ask(), second_page)
    machine, found = first_sync(room, keeper, meddler)
    assert held == [True]
    assert found["proved"] == ANIMALS + 1
    assert meddler.asked.count(PROOFS) == 2, "each animal is asked for once"
    assert machine.sync()["proved"] == 0, "it is kept that they were found whole"


def wrongly(change: Callable[[dict[str, object]], None]) -> Callable[..., Answer]:
    """The server's answer with each animal in it changed."""

    def answer(_: Meddler, ask: Callable[[], Answer]) -> Answer:
        status, headers, content = ask()
        given = json.loads(content)
        for one in given["animals"]:
            change(one)
        return status, headers, json.dumps(given).encode()

    return answer


def count_one_less(proof: dict[str, object]) -> None:
    proof["count"] = 0


@pytest.mark.parametrize("trick", [wrongly(count_one_less), saying(503, "server_busy")])
def test_what_does_not_fit_at_once_is_asked_for_again(
    room: Room, keeper: Machine, meddler: Meddler, trick: Callable[..., Answer]
) -> None:
    meddler.play(PROOFS, trick)
    _, found = first_sync(room, keeper, meddler)
    assert found["proved"] == ANIMALS + 1
    assert found["alarm"] is None


@pytest.mark.one_in(1)
def test_what_never_fits_is_alarmed_when_all_is_here(
    room: Room, keeper: Machine, meddler: Meddler
) -> None:
    meddler.play(PROOFS, *([wrongly(count_one_less)] * 20))
    _, found = first_sync(room, keeper, meddler, status=1)
    assert found["alarm"]
    assert found["proved"] == 0
    meddler.tricks.clear()


def altered_on_its_way(_: Meddler, ask: Callable[[], Answer]) -> Answer:
    """The first page with one registration made a day older."""
    status, headers, content = ask()
    page = json.loads(content)
    entry = next(one for one in page["items"] if one["type"] == "snapshot")["facts"][0]["entry"]
    entry["at"] = "2020-01-01T00:00:00.000Z"
    return status, headers, json.dumps(page).encode()


def test_what_came_altered_in_the_first_page_is_named(
    room: Room, keeper: Machine, meddler: Meddler
) -> None:
    meddler.play(FEED, altered_on_its_way)
    machine, found = first_sync(room, keeper, meddler, status=1)
    assert found["alarm"]
    assert "is not what the log holds" in machine.run("alarms").out


def turned_round(_: Meddler, ask: Callable[[], Answer]) -> Answer:
    """Each entry with its members in another order, which in JSON says the same."""
    status, headers, content = ask()
    page = json.loads(content)
    for item in page["items"]:
        for fact in item.get("facts", ()):
            fact["entry"] = dict(reversed(fact["entry"].items()))
    return status, headers, json.dumps(page).encode()


def test_the_order_of_members_is_nothing_to_alarm(
    room: Room, keeper: Machine, meddler: Meddler
) -> None:
    meddler.play(FEED, turned_round)
    _, found = first_sync(room, keeper, meddler)
    assert (found["alarm"], found["proved"]) == (None, ANIMALS + 1)
