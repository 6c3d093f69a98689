"""What the command shows is proved, and that nothing was left out; what a superuser alters, the
reader's own command names at its next look."""

from contextlib import AbstractContextManager
from typing import Any
from urllib.parse import urlsplit

import pytest
from tests import superuser
from tests.cli.rooms import Machine, Room, envelope, invite, new_animal, push


@pytest.fixture(scope="module")
def keeper(room: Room) -> Machine:
    return room.at_work("keeper")


@pytest.fixture(scope="module")
def guest(room: Room) -> Machine:
    return room.at_work("guest")


@pytest.fixture(scope="module")
def snake(keeper: Machine, guest: Machine) -> str:
    """Checked by its keeper and, blind, by a guest."""
    animal = new_animal(keeper, "W-1")
    keeper.sync()
    keeper.check("W-1")
    keeper.sync()
    invite(keeper, guest, animal)
    guest.sync()
    guest.check("W-1")
    guest.sync()
    keeper.sync()
    return animal


def altered(room: Room, statement: str, animal: str) -> AbstractContextManager[None]:
    """As :func:`tests.superuser.altered`, of this room's animal."""
    database = urlsplit(room.stack.owner_url).path.removeprefix("/")
    return superuser.altered(database, statement, SHORT | {"ANIMAL": f"'{animal}'"})


SHORT = {
    "THE_CALL": "position = (SELECT max(position) FROM ledger_entry "
    "WHERE kind = 'call_made' AND about = ANIMAL)",
    "OTHER_LEAF": "convert_to(replace(convert_from(leaf, 'UTF8'), "
    """'"depth":"9"', '"depth":"3"'), 'UTF8')""",
}
ALTERATIONS = {
    "another depth in the leaf": "UPDATE ledger_entry SET leaf = OTHER_LEAF WHERE THE_CALL",
    "the leaf and its hash": "UPDATE ledger_entry SET leaf = OTHER_LEAF, "
    "leaf_hash = sha256('\\x00'::bytea || OTHER_LEAF) WHERE THE_CALL",
    "a call taken out": "DELETE FROM ledger_entry WHERE THE_CALL",
    "a call put under another animal": "UPDATE ledger_entry "
    "SET about = '01890000-0000-7000-8000-0000000000aa' WHERE THE_CALL",
    "its place in the map": "UPDATE ledger_mapsubject SET count = count - 1",
    "its chain": "UPDATE ledger_mapsubject SET chain = sha256(chain)",
    "the map's nodes": "UPDATE ledger_mapnode SET hash = sha256(hash)",
    "the standing as it is shown": "UPDATE calls_standing SET label = 'verified female'",
    "a code as it is shown": "UPDATE animals_identifier SET code = 'W-9' WHERE animal_id = ANIMAL",
}


def test_all_that_is_here_is_found_whole(keeper: Machine, guest: Machine, snake: str) -> None:
    found = later(keeper)
    assert found["proved"] >= 2
    assert found["proved_as_of"] > 0
    assert keeper.sync()["proved"] == 0, "nothing is new, and all was asked for just now"
    keeper.clock += 700
    told = keeper.run("sync").out
    assert "records are complete and unaltered as of position" in told
    assert later(guest)["proved"] >= 1


def later(machine: Machine, status: int = 0) -> Any:
    """A sync some time after the one before."""
    machine.clock += 700
    return machine.sync(status=status)


@pytest.mark.parametrize("what", ALTERATIONS)
def test_an_alteration_is_named_by_whoever_looks_next(
    room: Room, keeper: Machine, snake: str, what: str
) -> None:
    """By a machine that fetches everything as it is then. Where the server sees itself that its log
    is no longer what it signed, it says so instead."""
    fresh = room.second_machine(keeper)
    fresh.sign_in(room.log_key)
    fresh.sync()
    for forget in ("DELETE FROM animal", "DELETE FROM fact", "DELETE FROM kept"):
        fresh.tamper(forget)
    with altered(room, ALTERATIONS[what], snake):
        answer = fresh.run("sync", "--json")
        told = fresh.run("alarms")
    if answer.status == 3:
        assert "does not continue what was signed" in answer.err
        assert what in SEEN_BY_THE_SERVER
    else:
        assert answer.status == 1, answer
        assert answer.json["alarm"]
        assert f"animal {snake}: " in told.out, told.out
    assert keeper.sync()["alarm"] is None, "nothing is amiss now"


SEEN_BY_THE_SERVER = {
    "the leaf and its hash",
    "a call taken out",
}


def test_a_guest_whose_access_ended_still_sees_that_their_word_stands(
    room: Room, guest: Machine, keeper: Machine, snake: str
) -> None:
    visit = guest.api.get("visits").json()["items"][0]["id"]
    push(keeper.api, envelope("visit_cancelled", visit, {}))
    gone = later(guest)
    assert gone["purged"] == 1
    assert gone["proved"] >= 2, "its own animal, and the one it may not see any more"
    with altered(room, ALTERATIONS["its chain"], snake):
        found = later(guest, status=1)
        assert found["alarm"]
    told = guest.run("alarms").out
    assert snake in told
    guest.run("acknowledge", found["alarm"], "--because", "it was put back")
    assert guest.sync()["alarm"] is None
