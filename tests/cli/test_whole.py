"""What the command shows is proved, and that nothing was left out; what a superuser alters, the
reader's own command names at its next look."""

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


def test_a_guest_whose_access_ended_still_sees_that_their_word_stands(
    room: Room, guest: Machine, keeper: Machine, snake: str
) -> None:
    visit = guest.api.get("visits").json()["items"][0]["id"]
    push(keeper.api, envelope("visit_cancelled", visit, {}))
    gone = later(guest)
    assert gone["purged"] == 1
    assert gone["proved"] >= 2, "its own animal, and the one it may not see any more"
    database = urlsplit(room.stack.owner_url).path.removeprefix("/")
    with superuser.altered(database, "UPDATE ledger_mapsubject SET chain = sha256(chain)", {}):
        found = later(guest, status=1)
        assert found["alarm"]
    told = guest.run("alarms").out
    assert snake in told
    guest.run("acknowledge", found["alarm"], "--because", "it was put back")
    assert guest.sync()["alarm"] is None
