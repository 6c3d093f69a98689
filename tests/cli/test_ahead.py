"""A visit accepted beforehand opens by itself: no command here but ``sync`` asks a server."""

import time

import pytest
from tests.cli.rooms import Machine, Room, envelope, invite, new_animal, push
from tests.waiting import eventually
from tests.world import probing

pytestmark = pytest.mark.one_in(2)

SOON = 4.0
"""Seconds until a visit opens; as many more as it takes where it had by the time of the sync."""


@pytest.fixture(scope="module")
def odile(room: Room) -> Machine:
    return room.at_work("odile")


def guest(room: Room, clock: float = 0.0) -> Machine:
    greta = room.keeper("greta")
    greta.clock = clock
    greta.sign_in(room.log_key)
    return greta


def called_on(odile: Machine, tag: str) -> str:
    animal = new_animal(odile, tag)
    push(odile.api, envelope("call_made", animal, probing("female", tag)))
    return animal


@pytest.mark.one_in(1)
def test_of_a_visit_to_come_nothing_is_shown(room: Room, odile: Machine) -> None:
    greta = guest(room)
    visit = invite(odile, greta, called_on(odile, "Hornbeam-4"), opens=3600)
    greta.sync()
    (to_come,) = greta.well("sheet")
    assert (to_come["id"], to_come["opened"], to_come["rows"]) == (visit, False, [])
    told = greta.run("sheet").out
    assert "open from" in told
    assert "Hornbeam" not in told
    assert greta.well("show") == []
    assert greta.run("show", "Hornbeam-4").status == 1
    for word in ("standing", "probable", '"female"', "call_made"):
        assert not greta.holds(word), word


def to_come(odile: Machine, greta: Machine, animal: str) -> float:
    """When the visit opens that was not open yet at her last sync."""
    soon = SOON
    while True:
        opens = time.time() + soon
        visit = invite(odile, greta, animal, opens=soon)
        greta.sync()
        (found,) = greta.well("sheet")
        if not found["opened"]:
            assert found["rows"] == []
            return opens
        push(odile.api, envelope("visit_cancelled", visit, {}))
        soon *= 2


def test_a_visit_accepted_beforehand_opens_without_a_signal(room: Room, odile: Machine) -> None:
    animal = called_on(odile, "Hornbeam-1")
    greta = guest(room)
    opens = to_come(odile, greta, animal)
    eventually(lambda: time.time() > opens + 1, "the visit to open")
    (now_open,) = greta.well("sheet")
    assert now_open["opened"]
    assert [row["id"] for row in now_open["rows"]] == [animal]
    assert "[to do] Hornbeam-1" in greta.run("sheet").out
    (id,) = greta.check("Hornbeam-1")["stored"]
    assert greta.well("sheet")[0]["rows"][0]["stored_here"]

    assert greta.sync()["sent"] == 1
    assert greta.well("sheet")[0]["rows"][0]["own_call"] == id
    calls = odile.api.get(f"animals/{animal}/calls").json()["items"]
    assert [(one["id"], one["blind"]) for one in calls][1:] == [(id, True)]


def test_it_opens_by_the_servers_time_where_the_clock_is_off(room: Room, odile: Machine) -> None:
    animal = new_animal(odile, "Hornbeam-2")
    greta = guest(room, clock=2 * 86_400.0)
    invite(odile, greta, animal, opens=43_200)
    greta.sync()
    assert greta.well("sheet")[0]["rows"] == []
    assert greta.well("show") == []


def test_a_visit_called_off_is_gone_at_the_next_contact_and_not_before(
    room: Room, odile: Machine
) -> None:
    greta = guest(room)
    visit = invite(odile, greta, new_animal(odile, "Hornbeam-3"), opens=3600)
    greta.sync()
    push(odile.api, envelope("visit_cancelled", visit, {}))
    assert "open from" in greta.run("sheet").out, "nobody here knows better"
    greta.sync()
    assert greta.well("sheet") == []
    assert not greta.holds("Hornbeam-3")
    assert "cancelled at the last sync" in greta.run("sheet", visit[-12:]).out
